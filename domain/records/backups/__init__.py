"""A backup: one file with every row and every document's file of every organisation, the same whichever database it was taken from.

The file is a plain tar archive that any tar program lists, without compression: what it claims to hold is no more than its size. Its
members, in this order, and nothing else:

- ``organisations/NUMBER/TABLE.jsonl`` for each table of each organisation that has rows: one row a line, in the order of the primary key,
  as a JSON array of its columns. UUIDs, days and instants are text (instants in UTC with six digits of a second and Z), bytes are base64,
  a number that is not finite is its name as text, and minus nought is nought: SQLite does not tell them apart;
- ``organisations/NUMBER/files/DIGEST`` for each file that documents of an organisation have, as it is and named by its SHA-256: after all
  rows, in the order of these names;
- ``manifest.json``: what each member holds, where every journal ends, and which files were not there whole when the backup was taken;
- ``manifest.sha256``: the manifest's SHA-256 as ``sha256sum --check`` reads it. A signature would be one more member after it, and a new
  version of the format.

Version 1 of the format has no files. Every byte is determined by the rows, the files and the manifest, headers and padding too, so no bit
can change unseen.
"""
