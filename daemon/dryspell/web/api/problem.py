"""What a program is told where there is nothing to give: a problem document as RFC 9457 has it, in words for people."""

from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any

from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import Response

MEDIA_TYPE = "application/problem+json"
MOST_FIELDS = 20


class FieldProblem(BaseModel):
    """What is wrong with one field of what was sent."""

    model_config = ConfigDict(frozen=True)

    field: str = Field(description="the field, its parts parted by dots", examples=["wet_film_um"])
    detail: str = Field(description="what is wrong with it", examples=["Input should be less than or equal to 2000"])


class Problem(BaseModel):
    """A problem document (RFC 9457)."""

    model_config = ConfigDict(frozen=True)

    type: str = Field(default="about:blank", description="always about:blank: the status says which kind it is")
    title: str = Field(description="what the status is called", examples=["Conflict"])
    status: int = Field(description="the status of the answer", examples=[409])
    detail: str = Field(description="what is the matter, for people", examples=["coat 4 of rail is recorded already"])
    errors: list[FieldProblem] | None = Field(
        default=None, exclude_if=lambda errors: errors is None, description="which fields are wrong, where it is that"
    )


class RefusedError(Exception):
    """A request that is answered with a problem document."""

    def __init__(
        self,
        status: int,
        detail: str,
        *,
        errors: Sequence[FieldProblem] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(detail)
        self.status = status
        self.detail = detail
        self.errors = errors
        self.headers = headers

    def answer(self) -> Response:
        """Return it as an answer."""
        return problem(self.status, self.detail, self.errors, self.headers)


def problem(
    status: int,
    detail: str,
    errors: Sequence[FieldProblem] = (),
    headers: Mapping[str, str] | None = None,
) -> Response:
    """Return a problem document as an answer."""
    document = Problem(
        title=HTTPStatus(status).phrase, status=status, detail=detail, errors=list(errors[:MOST_FIELDS]) or None
    )
    return Response(document.model_dump_json(), status, headers, MEDIA_TYPE)


def fields_of(errors: Sequence[Any]) -> list[FieldProblem]:
    """Return what a check of what was sent has found, by field; what was sent is not told again."""
    return [
        FieldProblem(field=".".join(str(part) for part in error["loc"][1:])[:200] or str(error["loc"][0]),
                     detail=str(error["msg"])[:500])
        for error in errors
    ]  # fmt: skip


def _declared(description: str) -> dict[str, Any]:
    return {
        "description": description,
        "content": {MEDIA_TYPE: {"schema": {"$ref": f"#/components/schemas/{Problem.__name__}"}}},
    }


Declared = dict[int | str, dict[str, Any]]

ALWAYS: Declared = {
    401: _declared("No token, or a wrong one, where one is asked for."),
    403: _declared("The page is not known by that name, or a page of somebody else's has asked for a change."),
    413: _declared("More was sent than is taken."),
    414: _declared("The address is longer than any here."),
    429: _declared("The token was wrong too often; Retry-After says for how long."),
    431: _declared("More headers were sent than are looked at."),
    503: _declared("Nothing is known yet, or the state cannot be read or written now; Retry-After may say more."),
}
"""What any request may be answered with."""
NOT_THERE: Declared = {404: _declared("There is no such piece, site or coat.")}
NOT_READ: Declared = {422: _declared("A part of the address or a field cannot be read; `errors` says which.")}
CHANGES: Declared = {
    400: _declared("What was sent is no JSON."),
    409: _declared("What was told cannot be, beside what is recorded."),
    415: _declared("What was sent is not application/json."),
    **NOT_THERE,
    **NOT_READ,
}
"""What a change may be answered with beside."""
