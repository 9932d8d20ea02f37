"""``manage.py oxygen``: how long the oxygen lasts, and with which chance that is enough."""

import math
from dataclasses import replace
from typing import Any

from django.core.management.base import CommandParser

from referrals.calc.quantities import ImpossibleQuantity, require_possible
from referrals.management.answers import AnswerCommand, bad_input
from transport.calc import oxygen
from transport.calc.oxygen.cylinders import LARGEST_WATER_LITRES
from transport.calc.oxygen.use import TOTAL_FLOW_L_MIN
from transport.calc.travel_time import TravelTime, through

HEAD = ("minutes_left", "minutes_to_reserve", "flow_l_min", "change_words", "cautions")
"""What is answered without a time planned."""


class Command(AnswerCommand):
    """Reckon the minutes of oxygen cylinders. Uses no database."""

    help = "Minutes that oxygen cylinders last, to empty and to the reserve, and the chance."

    def add_arguments(self, parser: CommandParser) -> None:
        """Cylinders, what flows, and the time that they must cover."""
        parser.add_argument("--litres", type=float, metavar="L", help="water capacity")
        parser.add_argument("--bar", type=float, metavar="B", help="gauge pressure")
        parser.add_argument("--size", metavar="E", help="US letter")
        parser.add_argument("--psi", type=float, metavar="P", help="gauge pressure")
        parser.add_argument(
            "--cylinder",
            action="append",
            default=[],
            metavar="WORDS",
            help="'4.7 L 100 bar', 'US E 1800 psi', 'UK D 12 MPa'; again for each further one, in "
            "the order in which they are emptied",
        )
        parser.add_argument(
            "--spare", action="append", default=[], metavar="WORDS", help="one that can go along"
        )
        parser.add_argument(
            "--flow",
            type=float,
            action="append",
            default=[],
            metavar="F",
            help="oxygen, litres/min; again for each further baby on the same set",
        )
        parser.add_argument(
            "--fio2",
            type=float,
            action="append",
            default=[],
            metavar="X",
            help="fraction of oxygen, 0.21 to 1 (or 21 to 100 %%), of --total; again for each baby",
        )
        parser.add_argument(
            "--total",
            type=float,
            default=TOTAL_FLOW_L_MIN,
            metavar="T",
            help="oxygen and air together with --fio2, litres/min for each baby; default: 10",
        )
        parser.add_argument("--reserve-bar", type=float, metavar="R", help="default: 30")
        parser.add_argument("--reserve-psi", type=float, metavar="R", help="default: 200")
        parser.add_argument("--minutes", type=float, metavar="M", help="likely on the road")
        parser.add_argument("--p90", type=float, metavar="M", help="nine journeys of ten within")
        for name, meant in (
            ("waiting", "before loading"),
            ("loading", "at the post"),
            ("bedside", "from the door to the bedside"),
        ):
            parser.add_argument(
                f"--{name}", type=float, default=0.0, metavar="M", help=f"minutes {meant}"
            )
        parser.add_argument(
            "--changeover",
            type=float,
            default=oxygen.CHANGEOVER_MINUTES,
            metavar="M",
            help="minutes for each change of cylinder; default: 2",
        )
        parser.add_argument("--json", action="store_true", help="answer in JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        """Answer for all cylinders together."""
        try:
            cylinders = _cylinders(options)
            plan = _plan(options, cylinders)
        except (oxygen.InvalidOxygen, ImpossibleQuantity, ValueError) as error:
            raise bad_input(str(error)) from error
        if (options["litres"] or 0.0) > LARGEST_WATER_LITRES:
            self.note(
                "--litres is the water capacity of the cylinder (2 to 50 L), not litres of gas"
            )
        for caution in (*plan.cautions, *map(oxygen.doubtful_unit_words, cylinders)):
            if caution:
                self.note(caution)
        planned = options["minutes"] is not None
        if not planned:
            plan = replace(plan, changes=tuple(_all_changes(options, plan, cylinders)))
        body = plan.as_dict()
        body = body if planned else {name: body[name] for name in HEAD}
        self.answer(body, as_json=options["json"], text=_sentences(plan, planned=planned))


def _plan(options: dict[str, Any], cylinders: list[oxygen.Cylinder]) -> oxygen.OxygenPlan:
    return oxygen.plan_oxygen(
        cylinders=cylinders,
        flow_l_min=_flow(options),
        journey=_journey(options),
        waiting_minutes=require_possible("minutes", options["waiting"]),
        loading_minutes=require_possible("minutes", options["loading"]),
        bedside_minutes=require_possible("minutes", options["bedside"]),
        reserve=_reserve(options),
        changeover_minutes=options["changeover"],
        spares=[oxygen.read_cylinder(each) for each in options["spare"]],
    )


def _all_changes(
    options: dict[str, Any], plan: oxygen.OxygenPlan, cylinders: list[oxygen.Cylinder]
) -> list[oxygen.Change]:
    """Without a time planned every change from cylinder to cylinder is told."""
    return oxygen.changes(
        cylinders,
        plan.flow_l_min,
        reserve=_reserve(options),
        changeover_minutes=options["changeover"],
    )


def _journey(options: dict[str, Any]) -> TravelTime:
    """Log-normal through the two minutes given; certain where there is only one."""
    if options["minutes"] is None:
        if options["p90"] is not None:
            raise bad_input("--p90 goes with --minutes")
        return through(0.0, 0.0)
    likely = require_possible("minutes", options["minutes"])
    late = likely if options["p90"] is None else require_possible("minutes", options["p90"])
    return through(likely, late)


def _flow(options: dict[str, Any]) -> float:
    flows = [require_possible("oxygen_flow_l_min", flow) for flow in options["flow"]]
    total = require_possible("oxygen_flow_l_min", options["total"])
    fractions = [each / 100.0 if 21.0 <= each <= 100.0 else each for each in options["fio2"]]
    flows += [oxygen.oxygen_for_fraction(each, total_l_min=total) for each in fractions]
    if not flows:
        raise bad_input("give --flow, or --fio2 (of --total)")
    return oxygen.together(flows)


def _cylinders(options: dict[str, Any]) -> list[oxygen.Cylinder]:
    written = [oxygen.read_cylinder(each) for each in options["cylinder"]]
    metric, us = (options["litres"], options["bar"]), (options["size"], options["psi"])
    if written and (*metric, *us) == (None,) * 4:
        return written
    kept_bar, kept_psi = options["reserve_bar"], options["reserve_psi"]
    if None not in metric and (*us, kept_psi) == (None,) * 3:
        bar = require_possible("oxygen_bar", options["bar"])
        return [oxygen.metric_cylinder(options["litres"], bar), *written]
    if None not in us and (*metric, kept_bar) == (None,) * 3:
        psi = require_possible("oxygen_psi", options["psi"])
        return [oxygen.us_cylinder(options["size"], psi), *written]
    raise bad_input(
        "give --litres and --bar (--reserve-bar), or --size and --psi (--reserve-psi), or "
        "--cylinder '4.7 L 100 bar' for each"
    )


def _reserve(options: dict[str, Any]) -> oxygen.Reserve:
    """What is kept, told in one unit, holds for gauges in the other one too."""
    bar, psi = options["reserve_bar"], options["reserve_psi"]
    if bar is None and psi is None:
        return oxygen.Reserve()
    if bar is None:
        bar = oxygen.in_unit(psi, oxygen.GaugeUnit.PSI, oxygen.GaugeUnit.BAR)
    if psi is None:
        psi = oxygen.in_unit(bar, oxygen.GaugeUnit.BAR, oxygen.GaugeUnit.PSI)
    return oxygen.Reserve(bar=bar, psi=psi)


def _sentences(plan: oxygen.OxygenPlan, *, planned: bool) -> str:
    if math.isinf(plan.minutes_left):
        return "Without a flow the oxygen is not limited."
    said = [
        f"The oxygen lasts about {math.floor(plan.minutes_left)} min at {plan.flow_l_min:.3g} "
        f"L/min, {math.floor(plan.minutes_to_reserve)} min to the reserve.",
        *plan.change_words,
    ]
    if planned and plan.enough:
        said += [
            f"That is enough for the {math.ceil(plan.needed_minutes)} min planned, with reserve.",
            plan.chance_words,
            oxygen.AIR_WORDS,
        ]
    elif planned:
        # The words on air stay last, whatever else is said.
        said += [*plan.words[:-1], plan.lower_flow_words, plan.words[-1]]
    return " ".join(filter(None, said))
