"""In which language a sentence is said: the reader's own, or the deployment's for what is kept.

A refusal or a page is said at once, to whoever asks: ``words`` or ``gettext``. What several people
are told, and what the record keeps, is made with ``to_tell``, which puts off the choice of the
language until somebody is to read it. The record itself is in ``settings.LANGUAGE_CODE``: its rows
have many readers, and those who come later.
"""

from contextlib import AbstractContextManager
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.utils import translation
from django.utils.functional import lazy

from referrals.calc.spelled import spelled
from referrals.calc.wording import counted, words

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

    Words = str | _StrPromise
else:
    Words = Any

to_tell = lazy(words, str)
"""``words`` put off: looked up and filled in each time it is turned into text."""

to_tell_counted = lazy(counted, str)
"""``counted`` put off."""

to_spell = lazy(spelled, str)
"""A code inside such a sentence."""


def _first(text: Words, length: int) -> str:
    return str(text)[:length]


cut = lazy(_first, str)
"""The first characters of words that are not in a language yet."""


def in_record_language() -> AbstractContextManager[None]:
    """While the block runs, sentences are in the language that the record keeps."""
    return translation.override(settings.LANGUAGE_CODE)


def for_the_record(text: Words) -> str:
    """Words as the record keeps them."""
    with in_record_language():
        return str(text)


def in_other_languages(text: Words) -> dict[str, str]:
    """The same words in every language that is offered beside that of the record."""
    told = {}
    for language, _name in settings.LANGUAGES:
        if language != settings.LANGUAGE_CODE:
            with translation.override(language):
                told[language] = str(text)
    return told


def offered(language: str) -> str:
    """A person's language where it is offered, else the deployment's."""
    return language if language in dict(settings.LANGUAGES) else settings.LANGUAGE_CODE
