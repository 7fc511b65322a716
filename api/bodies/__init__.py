"""What requests and answers look like: the stated facts, and what is added to them."""
