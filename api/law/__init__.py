"""Rule packs: the law of some jurisdictions as dated data, in TOML files that anybody may write.

A pack is read strictly (``reading``), against what ``stated`` says that a pack may say and the published JSON Schema that is made from it.
Every refusal names the file, the line and the reason. ``domain/actions/law.py`` puts a pack on record.
"""

from __future__ import annotations

from api.law.reading import Flaw, PackRefused, ReadPack, read_pack
from api.law.schema import schema_text

__all__ = ["Flaw", "PackRefused", "ReadPack", "read_pack", "schema_text"]
