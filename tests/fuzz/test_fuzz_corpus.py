"""The inputs that the fuzzer kept, played back: each is answered or refused as documented."""

import corpora
import pytest
from fuzz_targets import TARGETS, FindingError, _check_answer, quantities


@pytest.mark.parametrize("target", TARGETS)
def test_no_kept_input_finds_anything(target: str) -> None:
    count = 0
    for name, data in corpora.kept(target):
        try:
            TARGETS[target](data)
        except Exception as error:
            raise AssertionError(f"{target} {name}: {error}") from error
        count += 1
    assert count >= 20


def test_the_corpus_is_small() -> None:
    sizes = [corpora.archive_of(target).stat().st_size for target in TARGETS]
    assert 0 < sum(sizes) < 300_000


def test_a_finding_is_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fuzz_targets._fields", lambda: (Unsound(),))
    with pytest.raises(FindingError, match="5 A"):
        quantities(b"5 A")
    # As if no code were documented.
    monkeypatch.setattr("fuzz_targets.CODES", {})
    with pytest.raises(FindingError, match="404"):
        _check_answer("/v1/nowhere", b"", "application/json")


class Unsound:
    """Takes anything for anything."""

    def loaded(self, value: object) -> object:
        del value
        return object()
