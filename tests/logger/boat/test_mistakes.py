"""The table of mistakes in tests/logger/README.md is what the program says today."""

from pathlib import Path

from tests.logger.boat.mistakes import MISTAKES, answer, table


def test_the_readme_s_table_is_what_is_said():
    page = Path(__file__).parents[1] / "README.md"
    assert table() in page.read_text()


def test_each_of_thirty_mistakes_is_answered():
    assert len(MISTAKES) == 30
    assert len(set(MISTAKES)) == 30
    for right, wrong in MISTAKES:
        said = answer(right, wrong)
        assert said not in ("", "nothing"), wrong
        assert "Traceback" not in said
        assert "Input should" not in said
