"""The routes, one a line. Where options of several cost and take the same, earlier ones are chosen."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Literal

import numpy as np

from ...models.errors import FlightError
from ...models.launch import Ascent
from ..limits.between_craft import with_operator
from ..problem.options import Options
from ..problem.problem import Problem
from ..trajectory.course import Course
from . import (
    carrier,
    circle_transfer,
    direct,
    free_form,
    nodal_drift,
    nodal_drift_carried,
    parking_orbit,
    plane_crossing,
    rephase,
    rephase_at_crossing,
)
from .route import CourseOf, Finite, Question, Route

ROUTES: tuple[Route, ...] = (
    rephase.ROUTE,
    rephase_at_crossing.ROUTE,
    free_form.ROUTE,
    plane_crossing.ROUTE,
    nodal_drift.ROUTE,
    circle_transfer.ROUTE,
    direct.ROUTE,
    parking_orbit.ROUTE,
    carrier.ROUTE,
    nodal_drift_carried.ROUTE,
)


def numbered(begins: Literal["space", "liftoff", "carrier"]) -> Iterator[tuple[int, Route]]:
    """The routes that begin so, each with its place."""
    return ((index, route) for index, route in enumerate(ROUTES) if route.begins == begins)


def lifting(way: Ascent) -> Iterator[tuple[int, Route]]:
    """The routes that may follow a way up, each with its place."""
    return ((index, route) for index, route in numbered("liftoff") if route.lifts_off(way))


def _of(options: Options, row: int) -> Route:
    code = int(options.route[row])
    if code < 0:
        raise ValueError("an option that is not marked with its route yet")
    return ROUTES[code]


def columns(index: int, question: Question) -> Options:
    """The options of one route, marked as its own."""
    return with_operator(question.problem, ROUTES[index].columns(question)).of_route(index)


def course(problem: Problem, options: Options, row: int, finite: bool) -> Course | None:
    """What is flown for one option; None where it cannot be."""
    try:
        return _of(options, row).course(problem, options, row, finite)
    except FlightError:
        return None


def courses(problem: Problem, chosen: Sequence[Options], finite: Finite) -> CourseOf:
    """What is flown for each option of some plans; routes that fly theirs together do so first."""
    used = np.unique(np.concatenate([options.route for options in chosen])).tolist() if chosen else []
    together: dict[int, CourseOf] = {}
    for code in used:
        make = ROUTES[code].together
        if make is not None:
            together[code] = make(problem, chosen, finite)

    def course_of(options: Options, row: int) -> Course | None:
        code = int(options.route[row])
        if code not in together:
            return course(problem, options, row, finite(options, row))
        try:
            return together[code](options, row)
        except FlightError:
            return None

    return course_of


def name_of(options: Options, row: int) -> str:
    """The name of an option's route."""
    return _of(options, row).name


def coasts(options: Options, row: int) -> bool:
    """Whether an option's craft coasts as it is until ``burn_s`` (see `Route`)."""
    return _of(options, row).coasts


def places(name: str) -> list[int]:
    """Where the routes of that name stand."""
    return [index for index, route in enumerate(ROUTES) if route.name == name]


def names() -> frozenset[str]:
    """All names."""
    return frozenset(route.name for route in ROUTES)


def words_of(name: str) -> tuple[str, str]:
    """What a craft does by the route of that name, and how."""
    return next(route.words for route in ROUTES if route.name == name)
