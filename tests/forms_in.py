"""The forms in an HTML page, filled in and sent as a browser without scripts does."""

from dataclasses import dataclass, field
from html.parser import HTMLParser


@dataclass
class Form:
    action: str
    fields: dict = field(default_factory=dict)
    buttons: list = field(default_factory=list)


class _Finder(HTMLParser):
    def __init__(self):
        super().__init__()
        self.forms = []
        self._select = self._text = None

    def handle_starttag(self, tag, attrs):
        has = dict(attrs)
        if tag == "form":
            assert has["method"] == "post"
            self.forms.append(Form(has["action"]))
        elif not self.forms:
            return
        elif tag == "input" and "name" in has and (has.get("type") not in ("radio", "checkbox") or "checked" in has):
            self.forms[-1].fields[has["name"]] = has.get("value", "")
        elif tag == "select":
            self._select = has["name"]
            self.forms[-1].fields[self._select] = ""
        elif tag == "option" and self._select and "selected" in has:
            self.forms[-1].fields[self._select] = has["value"]
        elif tag == "textarea":
            self._text = has["name"]
            self.forms[-1].fields[self._text] = ""
        elif tag == "button":
            self.forms[-1].buttons.append(has)

    def handle_data(self, data):
        if self._text:
            self.forms[-1].fields[self._text] += data

    def handle_endtag(self, tag):
        if tag == "select":
            self._select = None
        elif tag == "textarea":
            self._text = None


def forms_in(html):
    finder = _Finder()
    finder.feed(html)
    return finder.forms


def fill_in(client, path, *, form=0, follow=True, **typed):
    """Load a page, fill in one of its forms and send it; the answer is that after the redirect."""
    page = client.get(path)
    assert page.status_code == 200, page.text
    found = forms_in(page.text)[form]
    return client.post(page.url.join(found.action), data=found.fields | typed, follow_redirects=follow)


class _Words(HTMLParser):
    def __init__(self):
        super().__init__()
        self.words = []

    def handle_data(self, data):
        self.words += data.split()


def words_of(html):
    """Return what a reader sees, with single spaces."""
    reader = _Words()
    reader.feed(html)
    return " ".join(reader.words)
