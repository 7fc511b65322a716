"""The codes of countries and areas (ISO 3166-1): the numeric and alphabetic ones that are assigned, and those that anybody may assign."""

from __future__ import annotations

ASSIGNED = frozenset(
    {
        4, 8, 10, 12, 16, 20, 24, 28, 31, 32, 36, 40, 44, 48, 50, 51, 52, 56, 60, 64, 68, 70, 72, 74, 76, 84, 86, 90, 92, 96, 100, 104,
        108, 112, 116, 120, 124, 132, 136, 140, 144, 148, 152, 156, 158, 162, 166, 170, 174, 175, 178, 180, 184, 188, 191, 192, 196,
        203, 204, 208, 212, 214, 218, 222, 226, 231, 232, 233, 234, 238, 239, 242, 246, 248, 250, 254, 258, 260, 262, 266, 268, 270,
        275, 276, 288, 292, 296, 300, 304, 308, 312, 316, 320, 324, 328, 332, 334, 336, 340, 344, 348, 352, 356, 360, 364, 368, 372,
        376, 380, 384, 388, 392, 398, 400, 404, 408, 410, 414, 417, 418, 422, 426, 428, 430, 434, 438, 440, 442, 446, 450, 454, 458,
        462, 466, 470, 474, 478, 480, 484, 492, 496, 498, 499, 500, 504, 508, 512, 516, 520, 524, 528, 531, 533, 534, 535, 540, 548,
        554, 558, 562, 566, 570, 574, 578, 580, 581, 583, 584, 585, 586, 591, 598, 600, 604, 608, 612, 616, 620, 624, 626, 630, 634,
        638, 642, 643, 646, 652, 654, 659, 660, 662, 663, 666, 670, 674, 678, 682, 686, 688, 690, 694, 702, 703, 704, 705, 706, 710,
        716, 724, 728, 729, 732, 740, 744, 748, 752, 756, 760, 762, 764, 768, 772, 776, 780, 784, 788, 792, 795, 796, 798, 800, 804,
        807, 818, 826, 831, 832, 833, 834, 840, 850, 854, 858, 860, 862, 876, 882, 887, 894,
    }
)  # fmt: skip
"""Those of the 249 countries and areas of the standard; what is not here is no country's.

Source:
    ISO 3166-1:2020, numeric-3 codes, as listed by iso-codes 4.15 (2023).
"""

ALPHA_2 = frozenset(
    """
    AD AE AF AG AI AL AM AO AQ AR AS AT AU AW AX AZ BA BB BD BE BF BG BH BI BJ BL BM BN BO BQ BR BS BT BV BW BY BZ CA CC CD CF CG CH
    CI CK CL CM CN CO CR CU CV CW CX CY CZ DE DJ DK DM DO DZ EC EE EG EH ER ES ET FI FJ FK FM FO FR GA GB GD GE GF GG GH GI GL GM GN
    GP GQ GR GS GT GU GW GY HK HM HN HR HT HU ID IE IL IM IN IO IQ IR IS IT JE JM JO JP KE KG KH KI KM KN KP KR KW KY KZ LA LB LC LI
    LK LR LS LT LU LV LY MA MC MD ME MF MG MH MK ML MM MN MO MP MQ MR MS MT MU MV MW MX MY MZ NA NC NE NF NG NI NL NO NP NR NU NZ OM
    PA PE PF PG PH PK PL PM PN PR PS PT PW PY QA RE RO RS RU RW SA SB SC SD SE SG SH SI SJ SK SL SM SN SO SR SS ST SV SX SY SZ TC TD
    TF TG TH TJ TK TL TM TN TO TR TT TV TW TZ UA UG UM US UY UZ VA VC VE VG VI VN VU WF WS YE YT ZA ZM ZW
    """.split()  # noqa: SIM905 - codes are read as a table
)
"""The alpha-2 codes of the same 249 countries and areas.

Source:
    ISO 3166-1:2020, alpha-2 codes, as listed by iso-codes 4.15 (2023).
"""

UNIONS = frozenset(("EU", "UN"))
"""Alpha-2 codes that are reserved for what states have formed together, exceptionally and at their request.

Source:
    ISO 3166-1:2020, exceptionally reserved code elements.
"""

_LETTERS_OF_Q = frozenset("MNOPQRSTUVWXYZ")


def is_user_assigned(code: str) -> bool:
    """Return whether an alpha-2 code is no country's and never will be, so that anybody may give it to what is not real.

    Source:
        ISO 3166-1:2020: AA, QM to QZ, XA to XZ, ZZ.
    """
    if len(code) != 2 or not (code.isascii() and code.isalpha() and code.isupper()):
        return False
    return code in {"AA", "ZZ"} or code[0] == "X" or (code[0] == "Q" and code[1] in _LETTERS_OF_Q)
