"""What is stored: the tables and the SQL that reads and writes them, one file per capability."""
