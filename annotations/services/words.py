"""The words of an annotation: what is said, seen, concluded, and how sure the author is."""

import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from annotations.models import Certainty
from imaging.errors import FieldRefusedError

__all__ = ["LENGTHS", "LONGEST_TEXT", "WORD_FIELDS", "Words", "refuse_unfit_words"]

#: Language tags of BCP 47 (RFC 5646): letters first, then subtags.
_LANGUAGE_TAG = re.compile(r"[A-Za-z]{2,8}(-[A-Za-z0-9]{1,8})*")
_SUBJECT_CODE = re.compile(r"[a-z0-9]+([_-][a-z0-9]+)*")
LONGEST_TEXT = 50_000


@dataclass(frozen=True)
class Words:
    """Everything about an annotation that is written, not drawn."""

    subject: str = ""
    title: str = ""
    observation: str = ""
    interpretation: str = ""
    text_language: str = "en"
    certainty: str = ""
    certainty_reason: str = ""

    def as_fields(self) -> dict[str, str]:
        """Return the words by field name."""
        return asdict(self)


WORD_FIELDS = tuple(Words().as_fields())
#: As many characters as the columns hold; texts are bounded so that one cannot fill the disk.
LENGTHS = {
    "subject": 40,
    "title": 200,
    "observation": LONGEST_TEXT,
    "interpretation": LONGEST_TEXT,
    "text_language": 35,
    "certainty": 10,
    "certainty_reason": 500,
}


def refuse_unfit_words(words: Mapping[str, Any]) -> None:
    """Refuse a field that is unknown, too long, or holds a word that is not offered."""
    for field, value in words.items():
        longest = LENGTHS.get(field)
        if longest is None:
            raise FieldRefusedError(
                field=field, given="not a field of words", needed=f"one of {', '.join(WORD_FIELDS)}"
            )
        if not _is_storable(value):
            raise FieldRefusedError(field=field, given="text with broken characters", needed="Unicode text")
        if len(value) > longest:
            raise FieldRefusedError(field=field, given=f"{len(value)} characters", needed=f"at most {longest}")
    certainty, subject = words.get("certainty", ""), words.get("subject", "")
    if certainty and certainty not in Certainty.values:
        raise FieldRefusedError(field="certainty", given=certainty, needed=f"one of {', '.join(Certainty.values)}")
    if subject and _SUBJECT_CODE.fullmatch(subject) is None:
        raise FieldRefusedError(field="subject", given=subject, needed="a code of small letters, such as crack")
    language = words.get("text_language", "en")
    if _LANGUAGE_TAG.fullmatch(language) is None:
        raise FieldRefusedError(field="text_language", given=language, needed="a language tag, such as en or de-CH")


def _is_storable(text: str) -> bool:
    """Return whether PostgreSQL keeps a text: no zero bytes, no halves of surrogate pairs."""
    return "\x00" not in text and not any("\ud800" <= character <= "\udfff" for character in text)
