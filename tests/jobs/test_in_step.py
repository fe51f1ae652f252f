"""Works done a stage at a time make what they make alone, and fail as one after the other."""

from collections.abc import Generator

import pytest

from loomwright.engineering.errors import EngineeringError
from loomwright.jobs.plan.in_step import made_in_step


def work(
    name: str, done: list[str], stages: int, failing: int | None = None
) -> Generator[None, None, str]:
    for stage in range(stages):
        if stage == failing:
            raise EngineeringError("made_up", f"{name} fails in stage {stage}.")
        done.append(f"{name}{stage}")
        yield
    return name.upper()


def test_each_stage_is_done_for_all_before_the_next() -> None:
    done: list[str] = []
    made = made_in_step({name: work(name, done, 3) for name in "abc"})
    assert done == ["a0", "b0", "c0", "a1", "b1", "c1", "a2", "b2", "c2"]
    assert list(made.items()) == [("a", "A"), ("b", "B"), ("c", "C")]


def test_works_of_unlike_length_are_answered_in_their_order() -> None:
    made = made_in_step({"long": work("a", [], 3), "short": work("b", [], 1)})
    assert list(made.items()) == [("long", "A"), ("short", "B")]


@pytest.mark.parametrize(
    ("failing", "first"),
    [
        # The later work fails in an earlier stage, and the first one fails at all.
        ({"a": 2, "c": 0}, "a fails in stage 2."),
        ({"b": 1, "c": 0}, "b fails in stage 1."),
        ({"c": 0}, "c fails in stage 0."),
    ],
)
def test_the_error_is_that_of_the_first_work_that_has_one(
    failing: dict[str, int], first: str
) -> None:
    with pytest.raises(EngineeringError) as caught:
        made_in_step({name: work(name, [], 3, failing.get(name)) for name in "abc"})
    assert caught.value.message == first


def test_what_is_no_error_of_the_engineering_ends_all_at_once() -> None:
    def broken() -> Generator[None, None, str]:
        yield
        raise ZeroDivisionError

    done: list[str] = []
    with pytest.raises(ZeroDivisionError):
        made_in_step({"a": broken(), "b": work("b", done, 5)})
    assert done == ["b0"]
