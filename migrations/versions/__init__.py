"""Revisions, oldest first; a revision is never edited after it has landed."""
