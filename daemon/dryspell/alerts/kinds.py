"""The kinds of notices, and how urgent one is: what a configuration names, without what a notice holds."""

from enum import StrEnum


class Kind(StrEnum):
    """The kinds of notices about pieces."""

    TOMORROW = "tomorrow"  # the evening before: a window opens on the next local day
    COAT_NOW = "coat_now"  # a window is open
    HOT_COAT = "hot_coat"  # the same, for a coat on the soft one below
    LAST_CALL = "last_call"  # the latest start that still beats the dew is near
    WAIT = "wait"  # a window that was promised has gone or moved
    WEATHER_LOST = "weather_lost"  # nothing to go by any more, while somebody counts on it
    WEATHER_BACK = "weather_back"  # there is weather again, while somebody counts on it still
    FILM_RISK = "film_risk"  # dew, rain, cold or sun will reach a film that is not yet safe from it
    RISK_OVER = "risk_over"  # it will not after all
    DEW_SAFE = "dew_safe"
    RAIN_SAFE = "rain_safe"
    READY_TO_SAND = "ready_to_sand"
    OVERCOAT_CLOSING = "overcoat_closing"  # soon the film has to be sanded before it is coated
    OVERCOAT_PAST = "overcoat_past"
    BUILT_UP = "built_up"  # the last coat is hard
    IN_SERVICE = "in_service"
    CURED = "cured"
    POT_READY = "pot_ready"  # the mix of two parts has stood for as long as is asked
    POT_ENDING = "pot_ending"  # it soon is too old to brush
    PLAN_MOVED = "plan_moved"  # the plan has the next coat on another day
    UPKEEP = "upkeep"  # a year after the last coat, and each year from then on


class SensorKind(StrEnum):
    """The kinds of notices about sensors."""

    FAILED = "sensor_failed"
    BACK = "sensor_back"


class OutageKind(StrEnum):
    """The kinds of notices about sources of weather."""

    FAILED = "source_failed"
    BACK = "source_back"


class ConfigKind(StrEnum):
    """The kinds of notices about the configuration."""

    REFUSED = "config_refused"
    TAKEN = "config_taken"


class Level(StrEnum):
    """How urgent a notice is, the most urgent first."""

    WAKE = "wake"  # rings, at night as well: damage that a person can still prevent
    NOW = "now"
    PLAN = "plan"
    LOG = "log"  # for the page, and for who asks for everything

    def reaches(self, least: "Level") -> bool:
        """Say whether it is as urgent as that, or more."""
        order = list(Level)
        return order.index(self) <= order.index(least)
