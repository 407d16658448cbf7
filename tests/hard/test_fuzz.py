"""A short run of the trials, the same on every run; ``tests.hard.fuzz`` runs for longer."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests.hard.running import Desk, Hang, bounded
from tests.hard.trials import SEEN, TRIALS, property_of

USUAL, FEWER = 100, {"long run": 20, "own page": 30, "recording": 50}
"""Examples of each trial."""


@pytest.mark.parametrize("name", TRIALS)
def test_nothing_breaks_the_rules(name: str) -> None:
    count = FEWER.get(name, USUAL)
    settings(max_examples=count, suppress_health_check=list(HealthCheck))(property_of(name))()
    assert SEEN[name, 0] > count // 10, "too little was good enough to be read"
    refused = SEEN[name, 1] + SEEN[name, 2]
    assert refused > count // 10 or name == "own page", "too little was bad enough to be refused"


class TestTheRulesThemselves:
    """What breaks a rule is found."""

    def test_a_hang(self) -> None:
        with pytest.raises(Hang), bounded(0.05):
            for _ in itertools.count():
                pass

    @pytest.mark.parametrize(
        ("harm", "says"),
        [
            ("raise KeyError('x')", "'x'"),
            ("return 3", "status 3"),
            ("return 1", "no message"),
            ("print('half'); sys.stderr.write('bad'); return 1", "status 1 and output"),
            ("sys.stderr.write('\\x1b[2J'); return 1", "control character"),
            ("open('.tune.txt.12345678.unfinished', 'w').close(); return 0", "left behind"),
            ("open('tune.txt', 'w').close(); sys.stderr.write('bad'); return 1", "changed a file"),
            ("print('no'); return 0", "no JSON"),
            ("sys.stderr.write('NoneType'); return 1", "words of a library"),
            ("os.write(2, b'x'); return 0", "written past us"),
            (
                "pathlib.Path('tune.txt').read_text(); open('tune.txt', 'w').close(); return 0",
                "read",
            ),
        ],
    )
    def test_a_broken_rule(
        self, harm: str, says: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        names: dict[str, object] = {}
        lines = "\n".join(f"    {line}" for line in harm.split("; "))
        exec(f"import os, pathlib, sys\ndef main(words):\n{lines}", names)
        monkeypatch.setattr("tests.hard.running.main", names["main"])
        with pytest.raises((AssertionError, KeyError), match=says):
            Desk(tmp_path).try_out(("tab", "1", "--json"), x=b"1 3 5")


def test_letters_in_one_answer_and_a_tab_in_the_next(tmp_path: Path) -> None:
    """What was said about the first answer and what is said about the tab are kept together."""
    outcome = Desk(tmp_path).try_out(("mark", "1 5 3 8", "C G E C", "tab.txt"))
    assert outcome.status == 0
    assert "the letters do not tell them" in outcome.out
    assert "by its string names" in outcome.err
