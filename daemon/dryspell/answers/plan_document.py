"""Plans as a JSON document for other programs; the rules of `dryspell.answers.document` hold."""

from collections.abc import Mapping, Sequence
from datetime import datetime

from dryspell.answers.document import Document, instant, reason_document, stages_document, weather_document
from dryspell.outlook.plan_model import Moved, Plan, PlannedCoat, Plans

PLAN_SCHEMA = "dryspell.plan/1"


def plan_document(
    made: Plans, shown: Sequence[Plan], now: datetime, site_names: Mapping[str, str], people: Mapping[str, str]
) -> Document:
    """Return the document of `dryspell plan --json`.

    Parameters
    ----------
    shown
        The plans that were asked for, of those made.
    site_names, people
        What sites and people are called, by key.
    """
    share = made.share
    return {
        "schema": PLAN_SCHEMA,
        "generated_at": instant(now),
        "pieces": [_plan(plan, site_names.get(plan.site, plan.site), people) for plan in shown],
        "share": share
        and {
            "coats": share.coats,
            "coats_at_most": share.coats_at_most,
            "finish_h": share.finish_h,
            "bound_h": share.bound_h,
            "gap_pct": share.gap_pct,
            "is_best": share.is_best,
            "is_thinned": share.is_thinned,
        },
    }


def _plan(plan: Plan, site_name: str, people: Mapping[str, str]) -> Document:
    return {
        "piece": plan.piece,
        "name": plan.piece_name,
        "site": plan.site,
        "site_name": site_name,
        "timezone": plan.timezone,
        "made_at": instant(plan.made_at),
        "coats": plan.coats,
        "coats_left": plan.left,
        "coats_unplanned": plan.unplanned,
        "odds_pct": plan.odds_pct,
        "planned": [_coat(coat, people) for coat in plan.planned],
        "built_up_at": instant(plan.built_up_at),
        "in_service_at": instant(plan.in_service_at),
        "reason": plan.reason and reason_document(plan.reason),
        "by_people": plan.by_people,
        "beyond": plan.beyond
        and {
            "built_up_50_at": instant(plan.beyond.built_up_50_at),
            "built_up_90_at": instant(plan.beyond.built_up_90_at),
            "years": plan.beyond.years,
        },
        "weather": plan.weather and weather_document(plan.weather),
        "missing": list(plan.missing),
    }


def _coat(coat: PlannedCoat, people: Mapping[str, str]) -> Document:
    return {
        "coat": coat.number,
        "coating": coat.coating,
        "prepare_at": instant(coat.prepare_at),
        "start": instant(coat.start),
        "last_stroke": instant(coat.last_stroke),
        "probability": coat.probability,
        "coarse": coat.coarse,
        "thinner_parts": coat.thinner_parts,
        "wet_film_um": coat.wet_film_um,
        "abrasive": coat.abrasive,
        "hot": coat.hot,
        "sand_first": coat.sand_first,
        "before": [each.value for each in coat.before],
        "stages": stages_document(coat.stages),
        "person": coat.who or None,
        "person_name": people.get(coat.who) or None,
        "moved": coat.moved and _moved(coat.moved),
    }


def _moved(moved: Moved) -> Document:
    return {
        "planned_at": instant(moved.planned_at),
        "why": moved.why,
        "reason": moved.reason and reason_document(moved.reason),
    }
