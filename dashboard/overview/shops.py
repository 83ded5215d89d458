"""What is wrong at each shop, and which comes first: the worst, then by the clock. Pure."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from monitor.shops.summary import ShopSummary

SILENCE = timedelta(minutes=5)  # judgement: a shop says how it stands at least once a minute
LEAST_FORECASTS, LEAST_HELD = 10, 0.7  # judgement: intervals are made to hold nine times in ten


class Wrong(StrEnum):
    """What can be wrong at a shop, the worst first."""

    LATE = "late"
    SHOP_SILENT = "shop silent"
    TROUBLE = "monitor in trouble"
    SENSOR_SILENT = "sensors silent"
    UNANSWERED = "calls unanswered"
    AIR = "air"
    FORECASTS = "forecasts"


_RANK = {wrong: rank for rank, wrong in enumerate(Wrong)}


@dataclass(frozen=True, slots=True)
class Shop:
    """One shop as the overview shows it.

    Attributes
    ----------
    heard_at
        When it said last how it stands.
    wrong
        What is wrong, the worst first.
    """

    name: str
    heard_at: datetime
    summary: ShopSummary
    wrong: tuple[Wrong, ...]


def ordered(found: Iterable[tuple[str, datetime, ShopSummary]], now: datetime) -> list[Shop]:
    """The shops as an overview shows them: by what is worst, then by whose hands are wanted first."""
    shops = [Shop(name, heard_at, summary, _wrong(heard_at, summary, now)) for name, heard_at, summary in found]
    return sorted(shops, key=_order)


def _order(shop: Shop) -> tuple[int, bool, bool, int, str]:
    summary = shop.summary
    rank = _RANK[shop.wrong[0]] if shop.wrong else len(_RANK)
    at_us = summary.next_us if summary.late_us is None else summary.late_us
    return rank, summary.doughs == 0, at_us is None, at_us or 0, shop.name


def _wrong(heard_at: datetime, summary: ShopSummary, now: datetime) -> tuple[Wrong, ...]:
    is_off = summary.forecasts >= LEAST_FORECASTS and summary.held < LEAST_HELD * summary.forecasts
    found = {
        Wrong.LATE: summary.late > 0,
        Wrong.SHOP_SILENT: now - heard_at > SILENCE,
        Wrong.TROUBLE: summary.troubles > 0,
        Wrong.SENSOR_SILENT: summary.silent > 0,
        Wrong.UNANSWERED: summary.unanswered > 0,
        Wrong.AIR: summary.air > 0,
        Wrong.FORECASTS: is_off,
    }
    return tuple(wrong for wrong in Wrong if found[wrong])
