"""Does the bench of small faults make faults, one at a time, where tests can see them, and never in words?"""

from __future__ import annotations

import ast

from scripts.bench.mutants.changes import changes, statements

SOURCE = '''
def share(part: float, whole: float) -> float:
    """Docstrings hold 1 + 1 and are no statements."""
    if whole <= 0 and part:
        raise ValueError(f"{whole + 1} is too little")
    total: float = -whole * 2
    stage.warn("so many: " + str(3))
    items.append(part)
    return part / total
'''


def variants() -> list[tuple[str, str]]:
    """(words, source) of every change of the function above."""
    found = []
    count = [len(changes(*pair)) for pair in statements(ast.parse(SOURCE))]
    for place, number in enumerate(count):
        for nth in range(number):
            tree = ast.parse(SOURCE)
            change = changes(*list(statements(tree))[place])[nth]
            change.apply()
            found.append((change.words, ast.unparse(ast.fix_missing_locations(tree))))
    return found


def test_each_change_is_one_fault_that_compiles() -> None:
    original = ast.unparse(ast.parse(SOURCE))
    made = variants()
    assert len({text for _, text in made}) == len(made)
    for _, text in made:
        compile(text, "changed", "exec")
        assert sum(a != b for a, b in zip(text.splitlines(), original.splitlines(), strict=True)) == 1


def test_relations_signs_numbers_conditions_calls_and_results_are_changed() -> None:
    words_of_changes = [words for words, _ in variants()]
    for wanted in ("LtE to Lt", "LtE to Gt", "And to Or", "0 to 1", "Mult to Div", "sign dropped", "2 to 3", "Div to Mult",
                   "condition upside down", "call left out", "return None"):  # fmt: skip
        assert wanted in words_of_changes, wanted
    assert words_of_changes.count("call left out") == 1  # what is said to the user is left alone


def test_words_are_never_changed() -> None:
    for _, text in variants():
        assert "is too little" in text and "whole + 1" in text and "'so many: ' + str(3)" in text and "1 + 1" in text
