"""A replay as a JSON document for other programs."""

from datetime import datetime

from dryspell.answers.document import Document, instant
from dryspell.cli.replay_messages import by_piece, messages_document
from dryspell.cli.replay_show import Setting, assumptions
from dryspell.config import Config
from dryspell.outlook.fate import SPOILERS, Fate
from dryspell.replay.account import Account, Finisher, Planned, Replayed

SCHEMA = "dryspell.replay/1"


def replay_document(config: Config, came: Replayed, setting: Setting, now: datetime) -> Document:
    """Return the document of `dryspell replay --json`."""
    site = config.site_of(next(iter(config.piece.values())))
    figures = by_piece(config, came)
    return {
        "schema": SCHEMA,
        "generated_at": instant(now),
        "site": site.key,
        "timezone": site.zone.key,
        "from": instant(came.begin),
        "to": instant(came.end),
        "forecast": setting.forecast,
        "every_h": setting.every.total_seconds() / 3600.0,
        "takes_tight": setting.takes_tight,
        "read_here": setting.read_here,
        "ticks": came.ticks,
        "assumed": assumptions(setting),
        "pieces": [
            {
                "piece": key,
                "name": config.piece[key].name,
                "finishers": {each.value: _account(account) for each, account in by_finisher.items()},
                "messages": messages_document(figures[key]),
                "plans": _plans(came.plans[key]) if key in came.plans else None,
            }
            for key, by_finisher in came.accounts.items()
        ],
        "all": {each.value: _sums(came.of_all(each)) for each in Finisher},
        "alerts": [
            {"at": instant(said.at), "piece": said.piece, "kind": said.kind, "title": said.title, "body": said.body}
            for said in came.said
        ],
    }


def _account(account: Account) -> Document:
    return _sums(account) | {
        "built_up_at": [instant(at) for at in account.built_up_at],
        "coats": [
            {
                "coat": coat.number,
                "begun_at": instant(coat.begun_at),
                "finished_at": instant(coat.finished_at),
                "fate": coat.fate.value,
                "spoiled_at": instant(coat.spoiled_at),
                "covered_at": [instant(at) for at in coat.covered_at],
            }
            for coat in account.coats
        ],
    }


def _plans(planned: Planned) -> Document:
    return {
        "made": planned.made,
        "moved": dict(planned.moved),
        "finishes": [
            {
                "made_at": instant(promised.made_at),
                "promised_at": instant(promised.finish),
                "reached_at": instant(promised.reached),
            }
            for promised in planned.finishes
        ],
    }


def _sums(account: Account) -> Document:
    return {
        "laid": account.laid,
        "good": account.good,
        "spoiled": {fate.value: account.count(fate) for fate in SPOILERS},
        "unknown": account.count(Fate.UNKNOWN),
        "spoiled_share": round(account.spoiled_share, 4),
        "built_up": len(account.built_up_at),
    }
