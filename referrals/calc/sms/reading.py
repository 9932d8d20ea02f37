"""An SMS in our own short language, read: what is understood, and exactly what is not.

Nothing is dropped in silence: every word is understood, a plain filler, or named in ``not_read``.
No number is ever shortened, joined with its neighbour, or given to another name than its own:
where that could happen, the number and its name are named together and neither counts.
The words stand in ``words.py``.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from referrals.calc.sms import words
from referrals.calc.sms.folding import Section, Told, folded
from referrals.calc.sms.numbers import BadNumber, degrees_apart, position_of, values_of
from referrals.calc.sms.record import NotRead, Reading
from referrals.calc.sms.tokens import code_in, is_number, tokens_of
from referrals.calc.sms.words import BABY, Measure

LONGEST_READ = 2000
"""Characters that are read; a text of more is no SMS, and its rest is named as not read."""

_BIRTH_ORDERS = ("1", "2", "3")


def read(text: str) -> Reading:
    """Read a message; never raises, whatever the text."""
    found = _Reader(tokens_of(text[:LONGEST_READ])).reading()
    rest = text[LONGEST_READ:].strip()
    return replace(found, not_read=(*found.not_read, NotRead(rest))) if rest else found


class _Reader:
    """Goes through the words once; each one is used, passed over as a filler, or unread."""

    def __init__(self, tokens: Sequence[str]) -> None:
        self.typed = tokens
        self.tokens = [words.known_word(token) for token in tokens]
        self.place = 0
        self.section: Section = (BABY, None)
        self.told: list[Told] = []
        self.unread: list[tuple[int, NotRead]] = []
        self.codes: list[str] = []
        self.grave: list[str] = []
        self.used: list[str] = []
        self.guessed = ""

    def reading(self) -> Reading:
        """The whole message."""
        while self.place < len(self.tokens):
            self._next()
        found = folded(self.told, guessed=self.guessed)
        whole = found.whole
        return Reading(
            calls=whole.get("calls", False),
            new=whole.get("new", False),
            corrects=whole.get("corrects", False),
            how_many=whole.get("babies"),
            alone=whole.get("alone"),
            oxygen_bar=whole.get("oxygen_bar"),
            milestone=whole.get("milestone", ""),
            position=whole.get("position"),
            babies=found.babies,
            mother=found.mother,
            codes=tuple(dict.fromkeys(self.codes)),
            grave=tuple(dict.fromkeys(self.grave)),
            not_read=(*(slip for _, slip in self.unread), *found.left_out),
            used=tuple(self.used),
        )

    def _next(self) -> None:
        token = self.tokens[self.place]
        if token in words.SECTIONS:
            self._take_section()
        elif phrase := self._longest_phrase(self.place):
            doubted = self._doubted(phrase)
            self._leave(doubted) if doubted else self._take_phrase(phrase)
        elif token in words.NEGATIONS:
            self._leave(2)  # what a "no" belongs to is never read as a yes
        elif token in words.BY_NAME and (token not in words.BY_UNIT or self._run(self.place + 1)):
            self._take_measure(words.BY_NAME[token])
        elif is_number(token):
            self._take_bare_numbers()
        else:
            self._take_other(token)

    def _take_other(self, token: str) -> None:
        if code := code_in(token):
            self.codes.append(code)
            self._use(1)
        elif token in words.GRAVE:
            self.grave.append(token)
            self._use(1)
        elif token in words.GUESSES:
            self.guessed = self.typed[self.place]
            self.place += 1
        elif token in words.FILLERS:
            self.place += 1
        else:
            self._leave(1, words.HINTS.get(token, ""))

    # -- words ---------------------------------------------------------------

    def _take_section(self) -> None:
        kind = words.SECTIONS[self.tokens[self.place]]
        number: int | None = None
        taken = 1
        run = self._run(self.place + 1)
        if (
            kind == BABY
            and len(run) == 1
            and run[0] in "123"
            and not self._is_alone_unit(self.place + 2)
        ):
            number, taken = int(run[0]), 2
        self.section = (kind, number)
        if kind == BABY:
            self._tell("calls", True, self.typed[self.place])
        self._use(taken)

    def _doubted(self, phrase: tuple[str, ...]) -> int:
        """How many words are unread because a "no" may belong to this phrase; none as a rule."""
        after = self.place + len(phrase)
        follows = self.tokens[after] if after < len(self.tokens) else ""
        if phrase[-1] in words.NEGATIONS and ("no", follows) in words.PHRASES:
            return len(phrase) + 1  # "fits no breath": which of the two is denied?
        denied = follows in words.NEGATIONS and self._longest_phrase(after) is None
        return len(phrase) + 1 if denied else 0

    def _longest_phrase(self, place: int) -> tuple[str, ...] | None:
        for length in range(words.LONGEST_PHRASE, 0, -1):
            phrase = tuple(self.tokens[place : place + length])
            if len(phrase) == length and phrase in words.PHRASES:
                return phrase
        return None

    def _take_phrase(self, phrase: tuple[str, ...]) -> None:
        typed = " ".join(self.typed[self.place : self.place + len(phrase)])
        for slot, value in words.PHRASES[phrase]:
            self._tell(slot, value, typed)
        self._use(len(phrase))

    # -- numbers ---------------------------------------------------------------

    def _take_measure(self, measure: Measure) -> None:
        first = self.place + 1
        while first < len(self.tokens) and self.tokens[first] in words.FILLERS | words.GUESSES:
            if self.tokens[first] in words.GUESSES:
                self.guessed = self.typed[first]
            first += 1
        run = self._run(first)
        if measure.slot == "position":
            self._take_position(first, run)
            return
        if not run:
            beside = self.tokens[self.place + 1 : self.place + 2]
            about_breath = measure.slot == "respiratory_rate" and beside
            taken = 2 if about_breath and beside[0] in words.AFTER_BREATH else 1
            self._leave(taken, words.HINTS.get(self.tokens[self.place], ""))
            return
        mine = self._belonging(measure, first, run)
        if mine is None:
            self._leave(first + len(run) - self.place)
            return
        self._measured(measure, self.place, first + mine, run[:mine])

    def _belonging(self, measure: Measure, first: int, run: Sequence[str]) -> int | None:
        """How many numbers after a name are its own; nothing where that cannot be told."""
        own = 2 if measure.slot == "pressure" and len(run) > 1 else 1
        if len(run) == own:
            return own
        # One more number is of its own unit, as in "hr 110 38 weeks".
        if len(run) == own + 1 and self._is_alone_unit(first + len(run)):
            return own
        return None

    def _take_bare_numbers(self) -> None:
        """Numbers without a name before them: "2900 g" is clear, everything else is not."""
        run = self._run(self.place)
        after = self.place + len(run)
        if self._is_alone_unit(after):
            measure = words.BY_UNIT[self.tokens[after]]
            if len(run) == 1:
                self._measured(measure, self.place, after, run)
            else:
                self._leave(len(run) + 1)
            return
        taken = len(run)
        if after < len(self.tokens) and self.tokens[after] in words.BY_NAME:
            # "110 hr 84 sat": the numbers may stand before their names, so none is believed.
            taken += 1 + len(self._run(after + 1))
        self._leave(taken)

    def _measured(self, measure: Measure, start: int, end: int, numbers: Sequence[str]) -> None:
        """A name with its numbers, up to ``end``; a unit may follow."""
        unit = ""
        if end < len(self.tokens) and self.tokens[end] in measure.units:
            unit, end = self.tokens[end], end + 1
            if unit in ("l", "litres") and self.tokens[end : end + 1] == ["min"]:
                end += 1
            rest = self._run(end)
            if rest and not (len(rest) == 1 and self._is_alone_unit(end + 1)):
                self._leave(end + len(rest) - start)
                return
        typed = " ".join(self.typed[start:end])
        try:
            values = values_of(measure, numbers, unit)
        except BadNumber as error:
            self._leave(end - start, str(error))
            return
        for slot, value in values.items():
            self._tell(slot, value, typed)
        self._use(end - start)

    def _take_position(self, first: int, run: Sequence[str]) -> None:
        after = first + len(run)
        numbers = [part for each in run for part in degrees_apart(each)]
        try:
            place = position_of(numbers)
        except BadNumber as error:
            self._leave(after - self.place, str(error))
            return
        self._tell("position", place, " ".join(self.typed[self.place : after]))
        self._use(after - self.place)

    # -- helpers ---------------------------------------------------------------

    def _run(self, place: int) -> list[str]:
        found = []
        while place < len(self.tokens) and is_number(self.tokens[place]):
            found.append(self.tokens[place])
            place += 1
        return found

    def _is_alone_unit(self, place: int) -> bool:
        return place < len(self.tokens) and self.tokens[place] in words.BY_UNIT

    def _tell(self, slot: str, value: Any, typed: str) -> None:
        self.told.append(Told(self.section, slot, value, typed))

    def _use(self, count: int) -> None:
        self.used += self.typed[self.place : self.place + count]
        self.place += count

    def _leave(self, count: int, hint: str = "") -> None:
        typed = " ".join(self.typed[self.place : self.place + count])
        last = self.unread[-1] if self.unread else None
        if last and last[0] == self.place and not hint and not last[1].hint:
            self.unread[-1] = (self.place + count, NotRead(f"{last[1].words} {typed}"))
        else:
            self.unread.append((self.place + count, NotRead(typed, hint)))
        self.place = min(self.place + count, len(self.tokens))
