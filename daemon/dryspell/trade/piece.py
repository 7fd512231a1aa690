"""A piece of work and the place where it stands."""

from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo, available_timezones

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo, field_validator

from dryspell.trade.cover import CoverHours
from dryspell.trade.hours import WorkingHours, read_hours
from dryspell.trade.skyline import SkylineHeights, SunHours, read_direction
from dryspell.units import (
    Degrees,
    Hours,
    Kelvins,
    Latitude,
    Longitude,
    Metres,
    Percent,
    SquareMetres,
    within,
)


def _read_facing(value: Any) -> Any:
    """Read a compass point, or leave an angle to the unit reader."""
    return read_direction(value) if isinstance(value, str) and not any(sign.isdigit() for sign in value) else value


def _read_tags(value: Any) -> tuple[str, ...]:
    if not isinstance(value, (list, tuple)) or not all(isinstance(tag, str) and tag.strip() for tag in value):
        raise ValueError('is no list of tags; wanted words of your own such as ["client", "afloat"]')
    return tuple(value)


def _nearest_zone(text: str) -> str | None:
    """Return the zone of a place that is spelt most like the text, or whose city is."""
    # Zones without a place ("Etc/GMT+2", whose sign is the other way round) are nobody's home: none is suggested.
    places = {name.lower(): name for name in available_timezones() if "/" in name and not name.startswith("Etc/")}
    cities = {name.rpartition("/")[2]: place for name, place in sorted(places.items(), reverse=True)}
    wanted = text.strip().lower().replace(" ", "_")
    for names in (places, cities):
        from difflib import get_close_matches  # noqa: PLC0415  (only where something is misspelt)

        if near := get_close_matches(wanted, names, n=1, cutoff=0.8):
            return names[near[0]]
    return None


def _read_zone(value: object) -> ZoneInfo:
    if isinstance(value, ZoneInfo):
        return value
    try:
        return ZoneInfo(str(value))
    except (ValueError, OSError, KeyError):
        near = _nearest_zone(str(value))
        hint = f"did you mean {near}?" if near else "wanted an IANA name such as Europe/Berlin"
        raise ValueError(f"is no time zone; {hint}") from None


Tags = Annotated[tuple[str, ...], BeforeValidator(_read_tags)]
Tilt = Annotated[float, within("degree", 0, 180)]
Facing = Annotated[Degrees, BeforeValidator(_read_facing)]
WindShare = Annotated[float, within("percent", 0, 200)]
Loss = Annotated[float, within("percent", 0, 300)]
EdgeLength = Annotated[float, within("m", 0, 100_000)]
Conductance = Annotated[float, within("W/m^2/K", 0, 100)]
Lag = Annotated[float, within("hour", 0, 100)]
AirChanges = Annotated[float, within("1/hour", 0.01, 100)]
SunWarmth = Annotated[float, within("K m^2/W", 0, 0.1)]
Zone = Annotated[ZoneInfo, BeforeValidator(_read_zone)]


DiffuseSky = Literal["even", "brighter round the sun"]


class Site(BaseModel):
    """Where pieces stand: the weather and the sun are one for all of them."""

    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)

    key: str
    label: str = Field(default="", alias="name", description="what to call it in messages")
    latitude_deg: Latitude = Field(alias="latitude", examples=["54.3 deg"], description="north is positive")
    longitude_deg: Longitude = Field(alias="longitude", examples=["-4.6 deg"], description="east is positive")
    elevation_m: Metres = Field(default=0.0, alias="elevation", description="height above the sea")
    zone: Zone = Field(
        alias="timezone", examples=["Europe/Berlin"], description="IANA name; working hours and messages are in it"
    )
    travel_h: Hours = Field(
        default=0.5, alias="travel", description="driving between this site and another; of two, the longer counts"
    )
    afloat: bool = Field(
        default=False, strict=True, description="on the water: no ground slows the wind; forecast cells of sea"
    )
    sources: tuple[str, ...] = Field(
        default=(), description="its own sources of weather in order of preference; empty is those for all sites"
    )
    diffuse_sky: DiffuseSky = Field(
        default="even", description="how the light of the sky is spread: alike all over, or more of it round the sun"
    )

    @property
    def name(self) -> str:
        """What to call the site in messages."""
        return self.label or self.key


Shelter = Literal["open", "trees", "roof", "cover", "tent", "shed"]
_CLOSED: tuple[Shelter, ...] = ("tent", "shed")
_UNDER_WEATHER: tuple[Shelter, ...] = ("open", "trees", "roof")
Face = Literal["horizontal", "vertical", "tilted"]
Colour = Literal["white", "cream", "grey", "mid", "clear on light wood", "clear on dark wood", "dark", "black"]
Body = Literal["board", "door", "hull", "steel", "heavy timber"]
Wind = Literal["exposed", "normal", "sheltered"]
Wood = Literal["usual", "oily"]


class Piece(BaseModel):
    """One thing being built up, and how the weather reaches it."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    key: str
    label: str = Field(default="", alias="name", description="what to call it in messages")
    site: str = Field(examples=["harbour"], description="the key of its site")
    tags: Tags = Field(
        default=(), examples=[["client"]], description="words of your own, by which alert targets are told of it"
    )
    coating: str = Field(
        examples=["oil_varnish_1k"], description="the key of a coating of yours or of a built-in family"
    )
    system: str = Field(
        default="", examples=["rail_build_up"], description="the key of a build-up of several coatings, in their place"
    )
    coats: int = Field(default=7, strict=True, ge=1, le=40, description="coats to build up in all")
    done: int = Field(
        default=0, strict=True, ge=0, le=40, description="coats already on before the first one recorded here"
    )
    over: Literal["bare wood", "old film"] = Field(
        default="bare wood", description="what the first coat goes on; it tells what is sanded with before it"
    )
    area_m2: SquareMetres = Field(default=1.0, alias="area", description="surface to coat")
    loss_pct: Loss = Field(
        default=15.0,
        alias="loss",
        description="what stays in brush and pot, over what is laid: 15 % by brush, 20 % on slats and small things",
    )
    edges_m: EdgeLength = Field(default=0.0, alias="edges", description="edges to mask, all together; 0 m: no tape")
    thirsty_coats: int = Field(
        default=0, strict=True, ge=0, le=40, description="first coats of which the wood drinks more than the film tells"
    )
    brush_time_h: Hours | None = Field(
        default=None, alias="brush_time", description="first to last stroke; left out, area at 6 m2/hour"
    )
    prepare_time_h: Hours | None = Field(
        default=None,
        alias="prepare_time",
        description="sanding, dusting and wiping before a coat; left out, a quarter of an hour and 9 minutes a m2",
    )

    face: Face = Field(default="horizontal", description="which way it lies to the sky")
    tilt_deg: Tilt | None = Field(default=None, alias="tilt", description="from horizontal, for a tilted face")
    facing_deg: Facing | None = Field(default=None, alias="facing", description="where it looks, such as SW or 225 deg")
    shelter: Shelter = Field(default="open", description="what stands between it and the sky")
    heat_k: Kelvins = Field(
        default=0.0, alias="heat", description="how far an electric heater keeps its tent or shed over the outdoor air"
    )
    shut_by_day: bool = Field(
        default=False,
        strict=True,
        description="its tent or shed stays shut when the sun is on it, which then heats the air inside",
    )
    lag_h: Lag | None = Field(
        default=None,
        alias="lag",
        examples=["2.5 h"],
        description="how far its tent's or shed's air lags that outdoors, as a sensor in it found; else by shelter",
    )
    air_changes_per_h: AirChanges | None = Field(
        default=None,
        alias="air_changes",
        examples=["1.2 / hour"],
        description="how often the air in its tent or shed is changed, as a sensor in it found; else by shelter",
    )
    sun_warmth_k_m2_w: SunWarmth | None = Field(
        default=None,
        alias="sun_warmth",
        examples=["12 K m^2/kW"],
        description="how far the sun warms the air of one that is shut by day, to what falls on its roof and walls by "
        "area of floor, as a sensor in it found; left out, both not at all and as it does under clear film",
    )
    cover: CoverHours = Field(
        default=(),
        examples=["17:00-09:00"],
        description="hours of every day in which a cover stands over it, clear of the film; nobody brushes under it",
    )
    sun: SunHours = Field(
        default=(), examples=["12:45-19:30"], description="hours of the day in which direct sun can reach it; all"
    )
    horizon: SkylineHeights = Field(
        default=(),
        examples=[{"S": "25 deg", "SW": "40 deg"}],
        description="how high the skyline stands by direction, straight between those given, round the compass; flat",
    )
    sky_pct: Percent = Field(default=100.0, alias="sky", description="how much of the open sky it can see")
    wind: Wind = Field(default="normal", description="how the wind reaches it")
    wind_share_pct: WindShare | None = Field(
        default=None,
        alias="wind_share",
        examples=["35 %"],
        description="wind at the piece over wind at 10 m, as a probe on it found; left out, by wind, shelter and site",
    )
    colour: Colour = Field(default="clear on dark wood", description="how much sun it takes up")
    body: Body = Field(default="board", description="what stands behind the film")
    wood_moisture_pct: Percent | None = Field(
        default=None,
        alias="wood_moisture",
        examples=["22 %"],
        description="what a meter reads in the bare wood before its first coat, at its wettest spot",
    )
    wood: Wood = Field(default="usual", description="oily: a tropical wood whose oils hold back the first coat")
    back_conductance_w_m2_k: Conductance | None = Field(
        default=None,
        alias="back_conductance",
        examples=["4 W/m^2/K"],
        description="heat from the face through to what is behind it, as a probe found; left out, by body",
    )
    heated_behind: bool = Field(default=False, strict=True, description="the back is a heated room")
    shade: bool = Field(default=False, strict=True, description="a shade can be hung against the sun")
    cover_at_hand: bool = Field(
        default=False,
        strict=True,
        description="there is something to put over a wet film when told to, clear of it; starts are judged without it",
    )

    odds_pct: Percent = Field(
        default=80.0, alias="odds", description="share of the ways the weather may go that has to be good for a coat"
    )
    priority: int = Field(
        default=1, strict=True, ge=1, le=9, description="of pieces that share people, how much a day of delay counts"
    )
    hours: WorkingHours = Field(default_factory=lambda: read_hours("08:00-18:00"), description="when you can work")
    after_sunrise_h: Hours = Field(default=2.0, alias="after_sunrise", description="no brush earlier than this")
    dry_after_dew_h: Hours = Field(default=1.0, alias="dry_after_dew", description="wait after dew or rain has gone")

    @field_validator("done")
    @classmethod
    def _no_more_than_in_all(cls, done: int, info: ValidationInfo) -> int:
        if done > info.data.get("coats", done):
            raise ValueError(f"is more than coats ({info.data['coats']}); coats counts those already on")
        return done

    @field_validator("heat_k", "shut_by_day", "lag_h", "air_changes_per_h")
    @classmethod
    def _where_walls_are(cls, value: float | None, info: ValidationInfo) -> float | None:
        shelter = info.data.get("shelter", "tent")
        if value and shelter not in _CLOSED:
            raise ValueError(f'is only for shelter = "tent" or "shed", and this one is {shelter}')
        return value

    @field_validator("sun_warmth_k_m2_w")
    @classmethod
    def _where_it_is_shut(cls, value: float | None, info: ValidationInfo) -> float | None:
        if value is not None and not info.data.get("shut_by_day", True):
            raise ValueError("is only for one with shut_by_day = true: the others are opened before the sun heats them")
        return value

    @field_validator("cover")
    @classmethod
    def _over_what_stands_in_the_weather(cls, cover: CoverHours, info: ValidationInfo) -> CoverHours:
        shelter = info.data.get("shelter", "open")
        if cover and shelter not in _UNDER_WEATHER:
            raise ValueError(
                f'is only for shelter = "open", "trees" or "roof"; this one is {shelter}, which keeps sky, sun and '
                "rain off at all hours"
            )
        return cover

    @field_validator("cover_at_hand")
    @classmethod
    def _over_what_can_be_covered(cls, cover_at_hand: bool, info: ValidationInfo) -> bool:
        shelter = info.data.get("shelter", "open")
        if cover_at_hand and shelter not in _UNDER_WEATHER:
            raise ValueError(f'is only for shelter = "open", "trees" or "roof", and this one is {shelter}')
        return cover_at_hand

    @field_validator("tilt_deg")
    @classmethod
    def _of_a_tilted_face(cls, tilt_deg: float | None, info: ValidationInfo) -> float | None:
        if tilt_deg is not None and info.data.get("face", "tilted") != "tilted":
            raise ValueError(f'is only for face = "tilted", and this one is {info.data["face"]}')
        return tilt_deg

    @property
    def name(self) -> str:
        """What to call the piece in messages."""
        return self.label or self.key.replace("_", " ")

    @property
    def brushing_h(self) -> float:
        """Hours from the first to the last stroke of a coat: as told, or the area at 6 m2 an hour (common practice)."""
        return self.brush_time_h if self.brush_time_h is not None else self.area_m2 / 6.0

    @property
    def preparing_h(self) -> float:
        """Hours of sanding, dusting and wiping before a coat: as told, or 0.15 h a m2 and 0.25 h (common practice)."""
        return self.prepare_time_h if self.prepare_time_h is not None else 0.25 + 0.15 * self.area_m2

    @property
    def plane_deg(self) -> tuple[float, float]:
        """Tilt from horizontal and facing from north, clockwise, in degrees."""
        tilted = 45.0 if self.tilt_deg is None else self.tilt_deg
        tilt = {"horizontal": 0.0, "vertical": 90.0}.get(self.face, tilted)
        return tilt, self.facing_deg if self.facing_deg is not None else 180.0
