"""A session's figures as plain values for JSON: unknown is null, never NaN; series are left out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from math import isfinite

import numpy as np

from groundstation.analysis.session import PassAnalysis, SessionAnalysis


def plain(value: object) -> object:
    """Return a value as JSON can hold it: frozen results become objects, arrays are left out.

    Raises:
        TypeError: JSON cannot hold it.
    """
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, Enum):
        return value.value
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, float):
        return round(value, 9) if isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [plain(each) for each in value]
    if is_dataclass(value) and not isinstance(value, type):
        held = {field.name: getattr(value, field.name) for field in fields(value)}
        return {
            name: plain(each) for name, each in held.items() if not isinstance(each, np.ndarray)
        }
    raise TypeError(f"{type(value).__name__} is nothing for JSON")


def as_json(analysis: SessionAnalysis) -> dict[str, object]:
    """Return a session's figures as one object."""
    record = analysis.record
    return {
        "vehicle": {"number": record.vehicle, "name": record.name},
        "threshold_dbm": plain(record.threshold_dbm),
        "driver": plain(record.driver),
        "course": plain(analysis.course),
        "passes": [_pass(each) for each in analysis.passes],
        "two_way": plain(analysis.two_way),
        "link": plain(analysis.link),
        "joints": plain(analysis.joints),
        "roughness": plain(analysis.roughness),
        "incident": plain(analysis.incident),
        "learned_braking": plain(analysis.learned),
        "learned_braking_words": analysis.learned_words,
        "steering": plain(analysis.steering),
        "left_out": plain(analysis.left_out),
    }


def _pass(one: PassAnalysis) -> dict[str, object]:
    speed = one.speed
    return {
        "number": one.span.number,
        "start_vehicle_s": plain(one.span.start_s),
        "end_vehicle_s": plain(one.span.end_s),
        "ended_in_silence": one.span.ended_in_silence,
        "forward": one.forward,
        "way_m": plain(one.way_m),
        "speed": None
        if speed is None
        else {
            "peak": plain(speed.peak),
            "satellite_max_mps": plain(speed.satellite_max_mps),
            "wheel_max_mps": plain(speed.wheel_max_mps),
            "spikes": plain(speed.spikes),
            "witnesses": plain(speed.witnesses),
        },
        "timed": plain(one.timed),
        "lowest_margin": plain(one.lowest),
        "yaw": plain(one.yaw),
        "yaw_rate_abs_dps": plain(one.yaw_rate_abs_dps),
        "accel_y_abs_g": plain(one.accel_y_abs_g),
        "shocks": plain(one.shocks),
        "braking": plain(one.braking),
    }
