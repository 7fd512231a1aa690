"""The pages for people, and where they are found."""

from fastapi import FastAPI

from dryspell.web.pages import changes, doing, installed, material, more, outlook, plan, record, review, today
from dryspell.web.shell import Shell


def add_pages(app: FastAPI, shell: Shell) -> None:
    """Add every page to an application."""
    for part in (today, outlook, plan, record, changes, material, review, doing, more, installed):
        for path, methods, handler in part.routes(shell):
            app.add_route(path, handler, methods=methods, include_in_schema=False)
