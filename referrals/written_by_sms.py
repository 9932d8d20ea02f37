"""What a post or a driver says by SMS or by a missed call: which case it is about, and the deed."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from referrals import lifecycle, ports, sms_answers, timeline, told_by_sms
from referrals.acting import By
from referrals.calc.sms.record import NotRead, Reading
from referrals.calc.sms.writing import in_words
from referrals.calc.states import NotPossible
from referrals.calc.terms import Became
from referrals.came_in import Done, Ring
from referrals.models import Referral, Site
from referrals.senders import Sender
from referrals.twice import SAME_BABY_MINUTES, tell_desk_of_open


class _Unclear(Exception):
    """Several cases are open, and the message does not say which it is about."""

    def __init__(self, cases: Sequence[Referral]) -> None:
        super().__init__()
        self.cases = cases


def missed_call(by: By, sender: Sender) -> Done:
    """A post that rings and hangs up calls for help, unless it has a call already: ring back."""
    cases = _open_cases(sender)
    posts = _held(sender.posts())
    if len(posts) == 1 and not cases:
        referral = lifecycle.raise_referral(
            by,
            origin=posts[0],
            raised_by=sender.person,
            note=_("A missed call from this post; nothing is known yet."),
        )
        answer = sms_answers.fitting([sms_answers.called(referral), sms_answers.rings_back()])
        return Done(became=Became.RAISED, referral=referral, answer=answer, ring=Ring.CALLED)
    return Done(became=Became.CALL_BACK, referral=cases[-1] if cases else None, ring=Ring.AGAIN)


def written(by: By, sender: Sender, reading: Reading) -> Done:
    """Raise, or add to the open case: the same baby told by SMS and by app is one case."""
    posts = _held(sender.posts())
    cases = _open_cases(sender)
    codes = [case.code for case in cases]
    strange = tuple(NotRead(code) for code in reading.codes if code not in codes)
    not_read = (*strange, *reading.not_read)
    try:
        case = _case(reading, cases, by.received_at)
    except _Unclear as unclear:
        return _which(sender, unclear.cases, reading, not_read)
    if case:
        return _add(by, sender, case, reading, not_read)
    if (reading.calls or reading.new or reading.has_facts) and posts:
        return _raise(by, sender, posts, reading, not_read)
    return _unused(sender, reading, not_read)


def _case(reading: Reading, cases: Sequence[Referral], now: datetime) -> Referral | None:
    """The open case a message is about; nothing where it begins a new one, or there is none.

    Raises:
        _Unclear: when it could be about several.
    """
    named = [case for case in cases if case.code in reading.codes]
    if named:
        return _only(named)
    if reading.new:
        return None
    if reading.calls:
        near = timedelta(minutes=SAME_BABY_MINUTES)
        return _only([case for case in cases if now - case.raised_at <= near])
    return _only(cases)


def _only(cases: Sequence[Referral]) -> Referral | None:
    if len(cases) > 1:
        raise _Unclear(cases)
    return cases[0] if cases else None


def _raise(
    by: By, sender: Sender, posts: Sequence[Site], reading: Reading, not_read: Sequence[NotRead]
) -> Done:
    if len(posts) > 1:
        problem = _("a call for help from somebody of several posts; ask from which")
        return _kept(sender, None, reading, problem, not_read, Ring.UNUSED)
    referral, taken = told_by_sms.call_for_help(
        by, posts[0], reading, raised_by=sender.person, note=_as_note(not_read)
    )
    if not reading.new:
        tell_desk_of_open(timeline.hold(referral.pk), by)
    not_read = (*not_read, *taken.not_read)
    return Done(
        became=Became.RAISED,
        referral=referral,
        answer=sms_answers.understood(
            referral, sms_answers.called(referral), taken.words, not_read
        ),
        problem=_problem(not_read, reading),
        ring=Ring.GRAVE if reading.grave else Ring.NONE,
        grave=reading.grave,
    )


def _add(
    by: By, sender: Sender, case: Referral, reading: Reading, not_read: Sequence[NotRead]
) -> Done:
    told_by_sms.note(by, case, not_read)
    taken = told_by_sms.tell(by, case, reading)
    refused = _on_the_road(by, case, reading, taken.words)
    not_read = (*not_read, *taken.not_read)
    if refused:
        not_read = (*not_read, NotRead(refused))
    if reading.grave and not taken.words and not not_read:
        answer = sms_answers.desk_rings(case, case.district)
    elif taken.words or not_read:
        answer = sms_answers.understood(case, sms_answers.added(case), taken.words, not_read)
    else:
        answer = sms_answers.understood(case, sms_answers.stands_already(case), (), ())
    nothing = bool(not_read) and not taken.words and not reading.calls
    ring = Ring.GRAVE if reading.grave else Ring.UNUSED if nothing or refused else Ring.NONE
    return Done(
        became=Became.TOLD if taken.words or not reading.grave else Became.KEPT,
        referral=case,
        answer=answer,
        problem=_problem(not_read, reading),
        ring=ring,
        grave=reading.grave,
    )


def _on_the_road(by: By, case: Referral, reading: Reading, words: list[str]) -> str:
    """Milestone and place; returns what is not possible, in the verb's own words."""
    try:
        if reading.position:
            ports.journeys().position_told(by, case, reading.position)
            words.append("pos {:g} {:g}".format(*reading.position))
        if reading.milestone:
            ports.journeys().reached(by, case, reading.milestone)
            words += in_words({"milestone": reading.milestone})
    except NotPossible as refusal:
        return refusal.sentence
    return ""


def _which(
    sender: Sender, cases: Sequence[Referral], reading: Reading, not_read: Sequence[NotRead]
) -> Done:
    problem = _("does not say which baby it is about")
    answer = sms_answers.which_case(cases)
    return Done(
        became=Became.KEPT,
        answer=sms_answers.fitting([answer]),
        problem=problem,
        ring=Ring.GRAVE if reading.grave else Ring.WHICH,
        grave=reading.grave,
    )


def _unused(sender: Sender, reading: Reading, not_read: Sequence[NotRead]) -> Done:
    if reading.grave:
        problem = _("about what an SMS alone never does")
        return _kept(sender, None, reading, problem, not_read, Ring.GRAVE)
    problem = _("nothing in it could be used")
    return _kept(sender, None, reading, problem, not_read, Ring.UNUSED)


def _kept(
    sender: Sender,
    case: Referral | None,
    reading: Reading,
    problem: str,
    not_read: Sequence[NotRead],
    ring: Ring,
) -> Done:
    district = next(iter(sender.districts()), None)
    answer = (
        sms_answers.desk_rings(case, district)
        if ring is Ring.GRAVE
        else sms_answers.nothing_understood(district, not_read)
    )
    return Done(
        became=Became.KEPT,
        referral=case,
        answer=answer,
        problem=problem,
        ring=ring,
        grave=reading.grave,
    )


def _problem(not_read: Sequence[NotRead], reading: Reading) -> str:
    if reading.grave:
        return _("about what an SMS alone never does: %(words)s") % {
            "words": ", ".join(reading.grave)
        }
    if not_read:
        return _("not understood: %(words)s") % {"words": sms_answers.in_one_line(not_read)}
    return ""


def _as_note(not_read: Sequence[NotRead]) -> str:
    return "; ".join(each.words for each in not_read)


def _open_cases(sender: Sender) -> list[Referral]:
    """The open cases of the sender's posts and of the vehicle it drives, oldest first."""
    driven = [referral.pk for referral in sender.driven]
    rows = Referral.objects.open().select_related("district", "origin")
    mine = rows.filter(origin__in=sender.posts()) | rows.filter(pk__in=driven)
    return list(mine.distinct().order_by("raised_at", "pk"))


def _held(posts: QuerySet[Site]) -> list[Site]:
    """The posts, locked: two messages at one moment do not both find that nothing is open."""
    return list(posts.select_for_update(of=("self",)))
