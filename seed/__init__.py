"""The invented demo organisation and example rule packs."""
