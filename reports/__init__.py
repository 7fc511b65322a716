"""Paper: a frozen sheet goes in, bytes come out. Nothing in here queries or reads a clock."""
