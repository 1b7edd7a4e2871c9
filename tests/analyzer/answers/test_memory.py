"""Answers are remembered while the log stays as it is, and no longer."""

from analyzer.answers import memory


def test_memory_asks_again_only_when_the_log_changed():
    state, asked = ["a"], []
    kept = memory.Memory(lambda: state[0])

    def ask(question):
        return kept.ask(question, lambda: asked.append(question) or len(asked))

    assert [ask("x"), ask("y"), ask("x")] == [1, 2, 1]
    state[0] = "b"
    assert [ask("x"), ask("x")] == [3, 3]


def test_memory_keeps_nothing_that_was_answered_across_a_change():
    state = ["a"]
    kept = memory.Memory(lambda: state[0])

    def answer():
        state[0] = "b"  # the log grew meanwhile
        kept.ask("other", lambda: 0)
        return "old"

    assert kept.ask("x", answer) == "old"
    assert kept.ask("x", lambda: "new") == "new"


def test_memory_forgets_the_longest_unasked():
    kept = memory.Memory(lambda: 0, most=2)
    for name in ("x", "y", "x", "z"):
        kept.ask(name, lambda name=name: name)
    assert kept.ask("x", lambda: "again") == "x"
    assert kept.ask("y", lambda: "again") == "again"


def test_memory_keeps_no_error():
    kept = memory.Memory(lambda: 0)

    def broken():
        raise ValueError

    for answer in (broken, lambda: 1):
        try:
            found = kept.ask("x", answer)
        except ValueError:
            found = None
    assert found == 1
