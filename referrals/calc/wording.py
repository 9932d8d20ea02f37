"""Sentences in the reader's language, for the rooms that reckon and know no Django.

The application installs the functions that translate; until then every sentence stays English.
A sentence is a whole literal with named places, ``words("%(unit)s is closed", unit=unit)``, never
put together from pieces and never an f-string: the catalogue is looked up before the places are
filled. ``manage.py makemessages`` finds what stands in ``words``, ``counted`` and ``marked``.
"""

from collections.abc import Callable


def _english(sentence: str) -> str:
    return sentence


def _english_counted(one: str, many: str, count: float) -> str:
    return one if count == 1 else many


_translate: Callable[[str], str] = _english
_translate_counted: Callable[[str, str, float], str] = _english_counted


def install(
    translate: Callable[[str], str], translate_counted: Callable[[str, str, float], str]
) -> None:
    """Use these functions from now on: of one sentence, and of one in singular and plural."""
    global _translate, _translate_counted
    _translate, _translate_counted = translate, translate_counted


def words(sentence: str, /, **values: object) -> str:
    """Return a sentence in the language active now, its ``%(name)s`` places filled.

    Without values nothing is filled in, so a plain ``%`` stays as it is.
    """
    return _filled(_translate(sentence), values)


def counted(one: str, many: str, count: float, /, **values: object) -> str:
    """Return the form for a number; ``%(count)s`` stands for the number itself."""
    return _filled(_translate_counted(one, many, count), {"count": count, **values})


def marked(sentence: str) -> str:
    """Return a sentence as it is, known to the catalogue: for constants, translated when shown.

    A table holds ``marked("...")``; whoever shows it says ``words(row.text)``.
    """
    return sentence


def _filled(sentence: str, values: dict[str, object]) -> str:
    return sentence % values if values else sentence
