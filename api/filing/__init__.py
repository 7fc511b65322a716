"""Taking the files of documents in, and giving them out: what they are is read from their content, whatever was said of them."""
