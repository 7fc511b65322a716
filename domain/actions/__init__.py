"""What is done: one function per verb. Fetch, ask the rule, write."""
