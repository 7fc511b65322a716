"""A reader of QR codes, written from the standard and not from the writer: ISO/IEC 18004, versions 1 to 6, byte mode, levels M and Q.

It corrects nothing: a code with a single wrong module is refused.
"""

from functools import reduce
from itertools import product

BLOCKS = {1: [(26, 13)], 2: [(44, 22)], 3: [(35, 17)] * 2, 4: [(50, 24)] * 2, 5: [(33, 15)] * 2 + [(34, 16)] * 2, 6: [(43, 19)] * 4}
"""Codewords of each block, all and those of data, by version at level Q (table 9)."""
BLOCKS_M = {1: [(26, 16)], 2: [(44, 28)], 3: [(70, 44)], 4: [(50, 32)] * 2, 5: [(67, 43)] * 2, 6: [(43, 27)] * 4}
"""The same at level M."""
LEVELS = {0b00: BLOCKS_M, 0b11: BLOCKS}
MASKS = (
    lambda i, j: (i + j) % 2 == 0,
    lambda i, _: i % 2 == 0,
    lambda _, j: j % 3 == 0,
    lambda i, j: (i + j) % 3 == 0,
    lambda i, j: (i // 2 + j // 3) % 2 == 0,
    lambda i, j: i * j % 2 + i * j % 3 == 0,
    lambda i, j: (i * j % 2 + i * j % 3) % 2 == 0,
    lambda i, j: ((i + j) % 2 + i * j % 3) % 2 == 0,
)


def read(rows):
    """Return the text of a code given as rows of modules, dark ones true, without the quiet zone."""
    size = len(rows)
    version = (size - 17) // 4
    _check_patterns(rows)
    level, mask = _format(rows)
    bits = [rows[i][j] ^ MASKS[mask](i, j) for i, j in _data_places(size, version)]
    words = [_number(bits[start : start + 8]) for start in range(0, len(bits) - 7, 8)]
    return _text(_data(words, LEVELS[level][version]))


def _check_patterns(rows):
    size = len(rows)
    finder = ["1111111", "1000001", "1011101", "1011101", "1011101", "1000001", "1111111"]
    for top, left in ((0, 0), (0, size - 7), (size - 7, 0)):
        found = ["".join("01"[rows[top + i][left + j]] for j in range(7)) for i in range(7)]
        assert found == finder
    for step in range(8, size - 8):
        assert rows[6][step] == rows[step][6] == (step % 2 == 0)
    assert rows[size - 8][8]


def _format(rows):
    """Return the level and the number of the mask."""
    around = [(8, j) for j in (0, 1, 2, 3, 4, 5, 7, 8)] + [(i, 8) for i in (7, 5, 4, 3, 2, 1, 0)]
    size = len(rows)
    apart = [(i, 8) for i in range(size - 1, size - 8, -1)] + [(8, j) for j in range(size - 8, size)]
    first, second = ([rows[i][j] for i, j in places] for places in (around, apart))
    assert first == second
    told = _number(first) ^ 0b101010000010010
    rest = told
    for shift in range(4, -1, -1):
        if rest >> (shift + 10) & 1:
            rest ^= 0b10100110111 << shift
    assert rest == 0
    return told >> 13, told >> 10 & 0b111


def _data_places(size, version):
    taken = set(product(range(9), range(9))) | set(product(range(9), range(size - 8, size))) | set(product(range(size - 8, size), range(9)))
    taken |= {(6, step) for step in range(size)} | {(step, 6) for step in range(size)}
    if version > 1:
        taken |= set(product(range(size - 9, size - 4), range(size - 9, size - 4)))
    columns = [*range(size - 1, 6, -2), *range(5, 0, -2)]
    for turn, right in enumerate(columns):
        up = turn % 2 == 0
        for i in range(size - 1, -1, -1) if up else range(size):
            for j in (right, right - 1):
                if (i, j) not in taken:
                    yield i, j


def _data(words, blocks):
    dealt = [[] for _ in blocks]
    rest = iter(words)
    for number in range(max(data for _, data in blocks)):
        for block, (_, data) in zip(dealt, blocks, strict=True):
            if number < data:
                block.append(next(rest))
    for _ in range(blocks[0][0] - blocks[0][1]):
        for block in dealt:
            block.append(next(rest))
    for block, (whole, data) in zip(dealt, blocks, strict=True):
        assert len(block) == whole
        assert [_at(block, _power(number)) for number in range(whole - data)] == [0] * (whole - data)
    return [word for block, (_, data) in zip(dealt, blocks, strict=True) for word in block[:data]]


def _text(data):
    bits = [word >> shift & 1 for word in data for shift in range(7, -1, -1)]
    assert _number(bits[:4]) == 0b0100
    count = _number(bits[4:12])
    return bytes(_number(bits[12 + 8 * number : 20 + 8 * number]) for number in range(count)).decode("ascii")


def _number(bits):
    return reduce(lambda number, bit: number << 1 | bit, bits, 0)


def _times(one, other):
    product_ = 0
    while other:
        if other & 1:
            product_ ^= one
        one = one << 1 ^ (0x11D if one & 0x80 else 0)
        other >>= 1
    return product_


def _power(exponent):
    return reduce(lambda value, _: _times(value, 2), range(exponent), 1)


def _at(block, x):
    return reduce(lambda value, word: _times(value, x) ^ word, block, 0)
