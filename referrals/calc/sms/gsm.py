"""How long a text is as an SMS, and how it is kept inside the alphabet that every phone has.

3GPP TS 23.038, 6.2.1 (GSM 7-bit default alphabet and its extension table), values from memory.
One character outside of it would halve the space of the whole message.
"""

ONE_SEPTET = frozenset(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?¡"
    "ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
TWO_SEPTETS = frozenset("\f^{}\\[~]|€")
ONE_SMS = 160
TWO_SMS = 2 * 153
"""Two joined messages: each gives seven septets to the header that joins them."""


def septets(text: str) -> int:
    """The length of a text of the alphabet; pass others through ``in_alphabet`` first."""
    return sum(2 if each in TWO_SEPTETS else 1 for each in text)


def in_alphabet(text: str) -> str:
    """The text with a question mark for each character that is not in the alphabet."""
    return "".join(each if each in ONE_SEPTET or each in TWO_SEPTETS else "?" for each in text)


def shortened_to(text: str, most: int) -> str:
    """The text cut to ``most`` septets, with dots where something is missing."""
    if septets(text) <= most:
        return text
    while text and septets(text) > most - 3:
        text = text[:-1]
    return f"{text.rstrip()}..."
