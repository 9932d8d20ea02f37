"""``manage.py estimate``: how long a journey takes, for one pair of places or a file of them."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from referrals.calc.terms import VehicleKind
from referrals.management.answers import AnswerCommand, bad_input, bad_rows
from transport.asking_travel import (
    KINDS,
    NotAPlace,
    Question,
    Travel,
    answer_of,
    district_of_code,
    sentence_of,
)
from transport.tables import BadTable


class Command(AnswerCommand):
    """Estimate travel times as the service does."""

    help = "Estimate the travel time between two places, or for every row of a CSV file."

    def add_arguments(self, parser: CommandParser) -> None:
        """FROM and TO, or --pairs."""
        parser.add_argument("origin", nargs="?", metavar="FROM", help="site code or lat,lon")
        parser.add_argument("destination", nargs="?", metavar="TO", help="site code or lat,lon")
        parser.add_argument("--pairs", type=Path, metavar="FILE.csv", help="one journey a row")
        parser.add_argument("--at", help="ISO time of departure; without a zone the district's")
        parser.add_argument("--rainy", action="store_true", help="roads in the rainy season")
        parser.add_argument("--vehicle", choices=KINDS, help="default: ambulance")
        parser.add_argument("--district", metavar="CODE", help="whose zone and settings apply")
        parser.add_argument("--json", action="store_true", help="answer in JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        """Answer one question, or all of a file."""
        travel = Travel(district_of_code(options["district"]))
        questions = (
            _questions_of_file(travel, options)
            if options["pairs"]
            else [_question_of_words(travel, options)]
        )
        if travel.passed_over:
            self.note(f"columns passed over: {', '.join(travel.passed_over)}")
        if travel.zone_was_guessed:
            self.note("no single district is known: times without a zone were read as UTC")
        estimates = [travel.estimate(question) for question in questions]
        answers = [answer_of(estimate) for estimate in estimates]
        self.answer(
            answers if options["pairs"] else answers[0],
            as_json=options["json"],
            text="\n".join(map(sentence_of, questions, estimates)),
        )


def _questions_of_file(travel: Travel, options: dict[str, Any]) -> list[Question]:
    given = [name for name in ("origin", "at", "rainy", "vehicle") if options[name]]
    if given:
        raise bad_input("with --pairs the places, time, rain and vehicle stand in the file")
    try:
        return travel.read_questions(options["pairs"])
    except BadTable as error:
        raise bad_rows(error.faults) from error


def _question_of_words(travel: Travel, options: dict[str, Any]) -> Question:
    if not (options["origin"] and options["destination"]):
        raise bad_input("give FROM and TO (site codes or lat,lon), or --pairs FILE.csv")
    try:
        origin, destination = travel.end(options["origin"]), travel.end(options["destination"])
    except NotAPlace as error:
        raise bad_input(str(error)) from error
    try:
        at = travel.moment(options["at"]) if options["at"] else None
    except (ValueError, OverflowError) as error:
        raise bad_input(
            f"--at must be a time like 2025-03-01T14:30, not {options['at']!r}"
        ) from error
    return Question(
        origin=origin,
        destination=destination,
        vehicle=VehicleKind(options["vehicle"] or VehicleKind.AMBULANCE),
        rainy=True if options["rainy"] else None,
        at=at,
    )
