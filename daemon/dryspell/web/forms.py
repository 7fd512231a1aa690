"""What was typed into a form, read within bounds."""

from collections.abc import Mapping
from urllib.parse import parse_qsl

from starlette.requests import Request

from dryspell.web.gate import Gate

TOKEN_FIELD = "form"  # noqa: S105  (the name of a field)
MOST_FIELDS = 40
LONGEST_FIELD = 2000
KIND = "application/x-www-form-urlencoded"


class FormError(Exception):
    """A form that is none of ours, or that cannot be read; its text is for whoever sent it."""


async def read_form(request: Request, gate: Gate, *, of_login: bool = False) -> Mapping[str, str]:
    """Return the fields that were filled in, by name, without space around them.

    Raises
    ------
    FormError
        When it is not a form that one of our pages has shown.
    """
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() != KIND:
        raise FormError("That is no form of this page.")
    try:
        text = (await request.body()).decode("ascii")
        pairs = parse_qsl(text, keep_blank_values=True, max_num_fields=MOST_FIELDS, errors="strict")
    except ValueError:
        raise FormError("The form cannot be read.") from None
    fields = dict(pairs)
    if len(fields) < len(pairs) or any(len(value) > LONGEST_FIELD for value in fields.values()):
        raise FormError("The form cannot be read: a field is there twice, or too long.")
    if not gate.is_form_token(fields.pop(TOKEN_FIELD, ""), of_login=of_login):
        raise FormError("This form is too old; nothing was changed. Go back, load its page again, and send it anew.")
    return {name: value.strip() for name, value in fields.items() if value.strip()}
