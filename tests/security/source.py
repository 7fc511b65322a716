"""Looks through source code for what could be turned against the service."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator

SQL = re.compile(
    r"\s*(SELECT|INSERT|UPDATE|DELETE|CREATE|DROP|ALTER|PRAGMA|SET|COPY|LOCK|GRANT|REVOKE|DO|BEGIN|VALUES|TRUNCATE|WITH|WHERE|FROM|ATTACH)\b"
)
RUNS_SQL = frozenset({"text", "execute", "executemany", "executescript", "exec_driver_sql", "literal_column", "DDL", "copy"})
RUNS_CODE = frozenset({"eval", "exec", "compile", "__import__", "breakpoint"})
CODE_OR_OBJECTS = frozenset(
    {
        *("pickle", "cPickle", "marshal", "shelve", "dill", "jsonpickle", "yaml", "ctypes", "subprocess", "multiprocessing", "pty", "pdb"),
        *("code", "jinja2", "mako", "markdown", "lxml", "xml", "ldap3", "smtplib", "imaplib", "pymemcache", "telnetlib", "ftplib"),
    }
)
REGULAR_EXPRESSIONS = frozenset({"compile", "match", "fullmatch", "search", "sub", "subn", "split", "findall", "finditer"})
SWITCHES = {
    **dict.fromkeys(("verify", "check_hostname", "verify_signature", "verify_aud", "verify_iss"), True),
    **dict.fromkeys(("trust_env", "follow_redirects", "allow_redirects", "debug", "reload"), False),
}
"""What may be set to this and nothing else."""
SECRET = re.compile(r"(^|_)(password|secret|token|signature|mac)(_sha256|_hash|_digest)?$|(^|_)code_sha256$")


def sql_put_together(tree: ast.AST) -> Iterator[str]:
    """Yield every value that is put into a text of SQL, and every call that runs SQL that was joined or formatted on the spot."""
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr) and any(SQL.match(one.value) for one in node.values if isinstance(one, ast.Constant)):
            yield from (ast.unparse(one.value) for one in node.values if isinstance(one, ast.FormattedValue))
        elif isinstance(node, ast.Call) and name_of(node.func) in RUNS_SQL and node.args and _is_formatted(node.args[0]):
            yield ast.unparse(node.args[0])


def _is_formatted(text: ast.expr) -> bool:
    if isinstance(text, ast.Call):
        return isinstance(text.func, ast.Attribute) and text.func.attr == "format"
    return isinstance(text, ast.BinOp) and isinstance(text.op, ast.Add | ast.Mod)


def code_from_text(tree: ast.AST) -> Iterator[str]:
    """Yield every call that makes code of text, and every import of what makes objects or commands of it."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in RUNS_CODE:
            yield node.func.id
        elif isinstance(node, ast.Attribute) and node.attr in {"system", "popen", "execv", "execvp", "spawnv", "posix_spawn"}:
            yield node.attr
    yield from sorted(imported(tree) & CODE_OR_OBJECTS)


def unpacks_into_files(tree: ast.AST) -> Iterator[str]:
    """Yield every call that writes what is in an archive under the names that it brings."""
    called = [node.func for node in ast.walk(tree) if isinstance(node, ast.Call)]
    yield from (name_of(one) for one in called if name_of(one) in {"extract", "extractall", "unpack_archive"})


def imported(tree: ast.AST) -> set[str]:
    """Return the outermost names of the modules that are imported."""
    plain = {one.name for node in ast.walk(tree) if isinstance(node, ast.Import) for one in node.names}
    froms = {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.module}
    return {name.split(".")[0] for name in plain | froms}


def expressions_from_values(tree: ast.AST) -> Iterator[str]:
    """Yield what is put into regular expressions, without what is a constant of the module."""
    for node in ast.walk(tree):
        called = node.func if isinstance(node, ast.Call) else None
        if isinstance(called, ast.Attribute) and ast.unparse(called.value) == "re" and called.attr in REGULAR_EXPRESSIONS:
            assert isinstance(node, ast.Call)
            pattern = node.args[0]
            values = pattern.values if isinstance(pattern, ast.JoinedStr) else [pattern]
            inserted = [one.value if isinstance(one, ast.FormattedValue) else one for one in values]
            yield from (ast.unparse(one) for one in inserted if not _is_constant(one))


def _is_constant(value: ast.expr) -> bool:
    return isinstance(value, ast.Constant) or (isinstance(value, ast.Name) and value.id.strip("_").isupper())


def unchecked_trust(tree: ast.AST) -> Iterator[str]:
    """Yield what switches the checking of certificates or of the place an answer comes from off, and any mode for debugging."""
    for node in ast.walk(tree):
        yield from (f"{name}={value}" for name, value in _switches(node) if name in SWITCHES and value is not SWITCHES[name])
        if isinstance(node, ast.Attribute) and node.attr in {"_create_unverified_context", "CERT_NONE", "set_debug"}:
            yield node.attr


def _switches(node: ast.AST) -> Iterator[tuple[object, object]]:
    if isinstance(node, ast.keyword) and isinstance(node.value, ast.Constant):
        yield node.arg, node.value.value
    elif isinstance(node, ast.Dict):
        pairs = zip(node.keys, node.values, strict=True)
        yield from ((key.value, value.value) for key, value in pairs if isinstance(key, ast.Constant) and isinstance(value, ast.Constant))


def hashes(tree: ast.AST) -> set[str]:
    """Return the hash functions that are taken from ``hashlib``, without those that are said to secure nothing."""
    froms = {one.name for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.module == "hashlib" for one in node.names}
    dotted = {node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute) and name_of(node.value) == "hashlib"}
    uses = [node for node in ast.walk(tree) if isinstance(node, ast.Call) and name_of(node.func) in froms | dotted]
    secures_nothing = [node for node in uses if any(ast.unparse(said) == "usedforsecurity=False" for said in node.keywords)]
    harmless = {name_of(node.func) for node in secures_nothing} - {name_of(node.func) for node in uses if node not in secures_nothing}
    return (froms | dotted) - harmless


def secrets_compared(tree: ast.AST) -> Iterator[str]:
    """Yield comparisons by ``==`` or ``!=`` of what bears the name of a secret, where neither side is a constant or a column."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.Compare) or not isinstance(node.ops[0], ast.Eq | ast.NotEq):
            continue
        sides = [node.left, node.comparators[0]]
        if any(isinstance(one, ast.Constant) for one in sides) or not any(SECRET.search(name_of(one).lower()) for one in sides):
            continue
        written = ast.unparse(node)
        if ".c." not in written and "bindparam" not in written:
            yield written


def name_of(node: ast.expr) -> str:
    """Return the last name of what is called or meant."""
    while isinstance(node, ast.Call | ast.Subscript):
        node = node.func if isinstance(node, ast.Call) else node.value
    return node.attr if isinstance(node, ast.Attribute) else node.id if isinstance(node, ast.Name) else ""
