"""The record without any script: forms filled in and sent as a browser does, and what stands there afterwards."""

import csv
import io
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest

from forms_in import fill_in, forms_in, words_of
from served import START, served

TAGS = '<script>alert("x")</script>'


@pytest.fixture
def daemon(tmp_path):
    with served(tmp_path) as daemon:
        yield daemon


def page(daemon, path):
    answer = daemon.get(path)
    assert answer.status_code == 200, answer.text
    return words_of(answer.text)


def record(daemon, **typed):
    return fill_in(daemon.client, "record/rail/coat?from=today", **typed)


def test_a_coat_is_logged_with_two_taps_and_the_window_moves_at_once(daemon):
    before = page(daemon, "")
    assert "Coat 4 now" in before
    answer = record(daemon)
    said = words_of(answer.text)
    assert str(answer.url).startswith(f"{daemon.url}?did=record")
    assert "Coat 4 of Rail is on the record." in said
    assert "Coat 4 is not ready to coat over before" in said
    assert "Coat 5 is on" in said
    assert [coat.finished_at for coat in daemon.service._store.coats("rail")] == [START]


def test_a_form_that_is_sent_twice_records_one_coat_and_says_the_same(daemon):
    form = forms_in(daemon.get("record/rail/coat").text)[0]
    first, again = (daemon.post(form.action, data=form.fields) for _ in range(2))
    assert (first.status_code, again.status_code) == (303, 303)
    assert first.headers["location"] == again.headers["location"]
    assert len(daemon.service._store.coats("rail")) == 1


def test_of_two_people_with_the_same_form_open_one_records_the_coat_and_the_other_is_told(daemon):
    ours, theirs = (forms_in(daemon.get("record/rail/coat").text)[0] for _ in range(2))
    first, other = (daemon.post(form.action, data=form.fields) for form in (ours, theirs))
    assert (first.status_code, other.status_code) == (303, 409)
    assert "coat 4 of Rail is recorded already; the next one is coat 5." in words_of(other.text)
    assert len(daemon.service._store.coats("rail")) == 1


def test_a_form_that_was_sent_and_taken_back_records_nothing_when_it_is_sent_again(daemon):
    form = forms_in(daemon.get("record/rail/coat").text)[0]
    assert daemon.post(form.action, data=form.fields).status_code == 303
    fill_in(daemon.client, "record/rail/undo?coat=4")
    again = daemon.post(form.action, data=form.fields)
    assert again.status_code == 409
    assert "Coat 4 was recorded with this form, and taken back since; load its page again." in words_of(again.text)
    assert daemon.service._store.coats("rail") == []
    assert record(daemon).status_code == 200  # its page, loaded again
    assert len(daemon.service._store.coats("rail")) == 1


def test_a_form_of_one_piece_that_is_sent_for_another_records_nothing(daemon):
    form = forms_in(daemon.get("record/rail/coat").text)[0]
    assert daemon.post(form.action, data=form.fields).status_code == 303
    assert daemon.post("record/bench/coat", data=form.fields).status_code == 409
    assert daemon.service._store.coats("bench") == []


def test_a_form_that_does_not_say_which_coat_it_is_of_records_nothing(daemon):
    form = forms_in(daemon.get("record/rail/coat").text)[0]
    for number in ("", "four", "-4", "4444"):
        answer = daemon.post(form.action, data={**form.fields, "number": number})
        assert answer.status_code == 409
        assert "does not say which coat it is of" in words_of(answer.text)
    assert daemon.service._store.coats("rail") == []


def test_a_form_that_is_sent_many_times_at_once_records_one_coat_and_takes_back_one(daemon):
    record(daemon)
    daemon.tick(START + timedelta(days=3))
    for path, left, others in (("record/rail/coat", 2, 303), ("record/rail/undo?coat=5", 1, 409)):
        form = forms_in(daemon.get(path).text)[0]
        with ThreadPoolExecutor(6) as many:
            answers = many.map(lambda _, form=form: daemon.post(form.action, data=form.fields), range(6))
            sent = [answer.status_code for answer in answers]
        assert sorted(sent) == [303, *[others] * 5]
        assert len(daemon.service._store.coats("rail")) == left


def test_all_that_is_told_of_a_coat_is_kept_and_shown(daemon):
    typed = {
        "at": "11:40", "began": "10:55", "who": "Ada", "thinner": "10 parts", "wet_film": "80 um", "used": "0.4 L",
        "abrasive": "P320", "batch": "B-17", "air": "18.5 degC", "humidity": "55 %", "wind": "2 m/s",
        "photo": "rail-4.jpg", "note": "a good day",
    }  # fmt: skip
    record(daemon, **typed)
    (coat,) = daemon.service._store.coats("rail")
    # 11:40 at Berlin, in summer two hours before UTC (EU Directive 2000/84/EC).
    assert f"{coat.finished_at:%H:%M}" == "09:40"
    assert (coat.thinner_parts, coat.wet_film_um, coat.litres, coat.abrasive) == (10.0, 80.0, 0.4, "P320")
    assert coat.met.by_hand.air_c.value == 18.5
    shown = page(daemon, "record/rail")
    for text in ("Ada", "10 parts", "80 µm", "batch B-17", "after P320", "picture rail-4.jpg", "a good day", "11:40"):
        assert text in shown


def test_figures_of_the_us_are_read_as_they_are_written(daemon):
    record(daemon, wet_film="3 mil", air="65 degF", wind="7 mph")
    (coat,) = daemon.service._store.coats("rail")
    # NIST SP 811: 1 mil is 25.4 um; 65 degF is (65 - 32) / 1.8 degC.
    assert coat.wet_film_um == pytest.approx(76.2)
    assert coat.met.by_hand.air_c.value == pytest.approx(18.333, abs=0.001)


def test_what_cannot_be_read_is_said_beside_its_field_and_everything_typed_is_kept(daemon):
    typed = {"at": "noon", "thinner": "50 %", "wet_film": "80", "who": "Ada", "note": "two lines\nof it"}
    answer = record(daemon, **typed)
    assert answer.status_code == 422
    (form,) = forms_in(answer.text)
    assert {name: form.fields[name].replace("\r", "") for name in typed} == typed
    assert form.fields["from"] == "today"
    for name, said in (("at", "is no time"), ("thinner", "can mean two mixes"), ("wet_film", "has no unit")):
        problem = answer.text.split(f'id="p-{name}">')[1].split("</p>")[0]
        assert said in problem
        assert f'aria-describedby="p-{name}' in answer.text
    assert daemon.service._store.coats("rail") == []


def test_a_coat_that_cannot_be_is_refused_in_words(daemon):
    answer = record(daemon, at="23:59")
    assert answer.status_code == 422
    assert "yet to come" in words_of(answer.text)


def test_a_coat_is_taken_back_and_the_window_is_where_it_was(daemon):
    record(daemon)
    answer = fill_in(daemon.client, "record/rail/undo?coat=4&from=today", by="Kim")
    said = words_of(answer.text)
    assert "Coat 4 of Rail is taken back." in said
    assert "Coat 4 now" in said
    assert "taken back today 12:00 by Kim" in page(daemon, "record/rail")


def test_taking_back_a_coat_that_is_not_on_top_any_more_is_refused(daemon):
    record(daemon)
    form = forms_in(daemon.get("record/rail/undo").text)[0]
    daemon.tick(START + timedelta(days=3))
    record(daemon)
    answer = daemon.post(form.action, data=form.fields)
    assert answer.status_code == 409
    assert "coat 4 of Rail is not the one on top any more: that is coat 5." in words_of(answer.text)


def test_a_correction_shows_what_stands_and_changes_only_what_is_changed(daemon):
    record(daemon, thinner="10 parts", wet_film="80 um", who="Ada", batch="B-17", air="18 degC")
    form = forms_in(daemon.get("record/rail/correct?coat=4").text)[0]
    assert form.fields["thinner"] == "10 parts"
    assert form.fields["at"] == "2026-06-02 12:00"
    fill_in(daemon.client, "record/rail/correct?coat=4", thinner="neat", wet_film="", batch="", by="Kim")
    (coat,) = daemon.service._store.coats("rail")
    assert (coat.thinner_parts, coat.wet_film_um, coat.who, coat.batch) == (0.0, None, "Ada", "")
    assert coat.met.by_hand.air_c.value == 18.0
    assert "corrected today 12:00 by Kim" in page(daemon, "record/rail")


def test_a_correction_of_nothing_changes_nothing(daemon):
    record(daemon, thinner="10 parts")
    answer = fill_in(daemon.client, "record/rail/correct?coat=4")
    assert answer.status_code == 409
    assert "Nothing is another way" in words_of(answer.text)


def test_a_spoilt_coat_counts_no_more_and_counts_again_where_that_was_wrong(daemon):
    record(daemon)
    answer = fill_in(daemon.client, "record/rail/spoilt?coat=4")
    assert (answer.status_code, "choose what spoilt it" in answer.text) == (422, True)
    fill_in(daemon.client, "record/rail/spoilt?coat=4", spoilt="dew", note="a clear night")
    shown = page(daemon, "record/rail")
    assert "spoilt by dew, does not count" in shown
    assert "Coat 4 is on" in shown
    fill_in(daemon.client, "record/rail/spoilt?coat=4", spoilt="none")
    assert "Coat 5 is on" in page(daemon, "record/rail")


def test_that_a_coat_is_sandable_is_noted_and_learned_from(daemon):
    record(daemon)
    daemon.tick(START + timedelta(hours=30))
    answer = fill_in(daemon.client, "record/rail/sandable?coat=4&from=today", at="14:00")
    assert "Coat 4 of Rail is noted as sandable." in words_of(answer.text)
    (coat,) = daemon.service._store.coats("rail")
    assert f"{coat.sandable_at:%d %H:%M}" == "03 12:00"
    too_soon = fill_in(daemon.client, "record/rail/sandable", at="2026-06-01 10:00")
    assert (too_soon.status_code, "sandable only later" in too_soon.text) == (409, True)


def test_a_pot_of_two_parts_is_mixed_and_poured_away(tmp_path):
    with served(tmp_path, 'piece.hatch = { site = "harbour", shelter = "shed", coating = "pu_clear_2k" }') as daemon:
        answer = fill_in(daemon.client, "record/hatch/pot?from=today")
        said = words_of(answer.text)
        assert "The pot for coat 1 of hatch is noted as mixed." in said
        assert "The pot is mixed" in said
        fill_in(daemon.client, "record/hatch/pot", form=1)
        assert "The pot is mixed" not in page(daemon, "")
        refused = fill_in(daemon.client, "record/rail/pot")
        assert (refused.status_code, "has no pot life" in refused.text) == (409, True)


def test_the_record_goes_into_a_table_and_onto_a_sheet_for_the_owner(daemon):
    record(daemon, who="Ada", note="=HYPERLINK(1)")
    table = daemon.get("record/rail/coats.csv")
    assert table.headers["content-disposition"] == 'attachment; filename="coats-rail.csv"'
    (row,) = csv.DictReader(io.StringIO(table.text))
    assert (row["coat"], row["who"], row["note"]) == ("4", "Ada", "'=HYPERLINK(1)")
    sheet = daemon.get("record/rail/sheet")
    assert "Coating record" in sheet.text
    assert "style-src 'sha256-" in sheet.headers["content-security-policy"]
    assert "unsafe" not in sheet.headers["content-security-policy"]


def test_the_folder_of_a_photo_is_never_told(daemon):
    record(daemon, photo="/home/ada/pictures/rail.jpg")
    for path in ("record/rail", "record/rail/coats.csv", "record/rail/sheet", "record/rail/correct?coat=4"):
        answer = daemon.get(path).text
        assert "rail.jpg" in answer
        assert "/home/ada" not in answer


def test_names_that_are_markup_stay_text(tmp_path):
    hostile = (
        f"[person.eve]\nname = '{TAGS}'\n"
        f'[piece.eve]\nname = \'{TAGS}\'\nsite = "harbour"\nshelter = "shed"\ncoating = "oil_varnish_1k"\n'
    )
    with served(tmp_path, hostile) as daemon:
        fill_in(daemon.client, "record/eve/coat", who=TAGS, note=TAGS, batch='" onfocus="x')
        fill_in(daemon.client, "record/rail/coat", who=TAGS, thinner=TAGS)
        paths = (
            "",
            "plan",
            "record",
            "record/eve",
            "record/eve/correct",
            "record/eve/undo",
            "material",
            "review",
            "doing",
        )
        for path in (*paths, "record/eve/coat", "record/eve/spoilt", "record/eve/sheet"):
            text = daemon.get(path).text
            assert "<script>alert" not in text
            assert '" onfocus="x' not in text
            assert path in ("review", "doing") or "&lt;script&gt;" in text


@pytest.mark.parametrize("path", ["record/raiil", "record/raiil/coat", "record/rail/eat", "nowhere", "record/%2e%2e/x"])
def test_an_address_of_nothing_is_a_page_of_ours(daemon, path):
    answer = daemon.get(path)
    assert answer.status_code == 404
    assert "There is nothing here" in answer.text


def test_an_address_takes_only_what_it_is_for(daemon):
    assert daemon.post("plan", data={}).status_code == 405
    assert daemon.get("look").status_code == 405


def test_a_form_from_nowhere_changes_nothing(daemon):
    form = forms_in(daemon.get("record/rail/coat").text)[0]
    fields = form.fields
    for wrong in ({**fields, "form": "0" * 32}, {name: fields[name] for name in fields if name != "form"}):
        assert daemon.post(form.action, data=wrong).status_code == 403
    assert daemon.post(form.action, json=fields).status_code == 403
    assert daemon.post(form.action, data=fields, headers={"origin": "http://evil.example"}).status_code == 403
    assert daemon.post(form.action, data={**fields, "note": "x" * 3000}).status_code == 403
    twice = "&".join(f"{name}={value}" for name, value in [*fields.items(), ("number", "9")])
    kind = {"content-type": "application/x-www-form-urlencoded"}
    assert daemon.post(form.action, content=twice, headers=kind).status_code == 403
    assert daemon.post(form.action, content=b"\xff=%ff", headers=kind).status_code == 403
    assert daemon.service._store.coats("rail") == []


def test_an_address_of_a_message_leads_to_its_coat(daemon):
    assert "Coat 4 is not on the record yet." in page(daemon, "record/rail?coat=4")
    record(daemon)
    assert "Coat 4 is not on the record yet." not in page(daemon, "record/rail?coat=4")
    for number in ("x", "-1", "99999", "4" * 50):
        assert daemon.get(f"record/rail?coat={number}").status_code == 200


def test_a_state_that_cannot_be_read_is_said_without_a_path(daemon, tmp_path, caplog):
    daemon.service._store.close()
    answer = daemon.get("record/rail")
    assert answer.status_code == 503
    assert str(tmp_path) not in answer.text
    assert "sqlite" not in answer.text
    assert "sqlite" in caplog.text
