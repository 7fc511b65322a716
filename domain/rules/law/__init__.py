"""The law as dated data: what a requirement says, whether it applies to an act, and what follows.

Nothing here knows any law. Requirements come from rule packs; every answer names the requirement, its version and its citation, and the
facts that it used. It is no legal advice: local codes, the issuing authority and licensed practice come first.
"""
