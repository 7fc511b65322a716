"""What is true: pure functions over small frozen values, the law book a vet or an inspector could be shown."""
