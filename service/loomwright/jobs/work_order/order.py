"""The order of tasks: each after those that it needs, among those that are ready by rank."""

from collections.abc import Sequence
from heapq import heapify, heappop, heappush

from loomwright.jobs.work_order.steps import Task


class OrderError(RuntimeError):
    """Tasks that no order can serve: they wait for one another, or for one that is not there."""


def safe_order(tasks: Sequence[Task]) -> list[int]:
    """Return the places of tasks so that each stands after all that it needs.

    Keys, needs and ranks decide it: tasks that have them alike have one order.

    Parameters
    ----------
    tasks
        With unique keys.

    Returns
    -------
    list of int
        Indices of the tasks. Of those that are ready, that of the lowest rank always comes next,
        the earlier one of equal ranks; the same tasks therefore always give the same order.

    Raises
    ------
    OrderError
        Two tasks have one key, a task needs one that does not exist, or tasks need one another in
        a ring; the message names them.

    References
    ----------
    A. B. Kahn, Topological sorting of large networks, Communications of the ACM 5 (1962) 11,
    558-562 (memory), with a heap for the set of ready nodes.
    """
    place = {task.key: index for index, task in enumerate(tasks)}
    if len(place) < len(tasks):
        raise OrderError("two tasks of a work order have the same key")
    waiting_for = [0] * len(tasks)
    followers: list[list[int]] = [[] for _ in tasks]
    for index, task in enumerate(tasks):
        for key in task.needs:
            if key not in place:
                raise OrderError(f"{task.key} needs {key}, which is no task of the work order")
            followers[place[key]].append(index)
            waiting_for[index] += 1
    ready = [(task.rank, i) for i, task in enumerate(tasks) if not waiting_for[i]]
    heapify(ready)
    ordered: list[int] = []
    while ready:
        index = heappop(ready)[1]
        ordered.append(index)
        for follower in followers[index]:
            waiting_for[follower] -= 1
            if not waiting_for[follower]:
                heappush(ready, (tasks[follower].rank, follower))
    if len(ordered) < len(tasks):
        ring = ", ".join(task.key for i, task in enumerate(tasks) if waiting_for[i])
        raise OrderError(f"tasks of a work order wait for one another: {ring}")
    return ordered
