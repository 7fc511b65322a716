import importlib

import pytest

from reports.fonts import FOLDER, Face, face_for, glyphs


def test_the_accelerator_is_installed_for_its_absence_would_only_be_slow():
    assert importlib.import_module("_rl_accel")


@pytest.mark.parametrize("face", list(Face))
def test_every_face_is_kept_beside_the_code_and_loads(face):
    assert (FOLDER / f"{face.value}.ttf").is_file()
    assert len(glyphs(face)) > 3_000


@pytest.mark.parametrize(("licence", "words"), [("DejaVu", "Bitstream Vera"), ("Droid", "Apache License")])
def test_every_face_has_its_licence_beside_it(licence, words):
    assert words in (FOLDER / f"LICENSE-{licence}.txt").read_text(encoding="utf-8")


@pytest.mark.parametrize("character", "✓☐⚠°µ²₃≤→·…□\ufffdŁżא")
def test_the_signs_papers_need_are_in_the_body_face(character):
    assert face_for(character, wished=Face.REGULAR) is Face.REGULAR


def test_a_character_no_face_holds_has_no_face():
    assert face_for("🐍", wished=Face.REGULAR) is None
