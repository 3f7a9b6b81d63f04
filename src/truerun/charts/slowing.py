"""How a wheel slowed down: speed against time, measured and fitted, with the window and the capture speed."""

from __future__ import annotations

import math

import numpy as np

from truerun.charts.drawing import Drawing, Width
from truerun.charts.frame import Frame, Span, upright
from truerun.charts.layers import Layer, describe, layer, words
from truerun.charts.reading import nice_step
from truerun.motion.hill import capture_speed
from truerun.motion.measured import Measured, hill_of, turns_of
from truerun.motion.readout import fitted_speeds, measured_speeds
from truerun.motion.speed_fit import SpeedRundown
from truerun.motion.window import Window

__all__ = ["PER_MINUTE", "clock_words", "draw_slowing"]

PER_MINUTE = 30 / math.pi
"""Turns a minute for one rad/s."""

_HEIGHT = {Width.WIDE: 340, Width.PHONE: 320, Width.PRINT: 320}
_MOST_DOTS = 60
_STEPS = (1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0)


def draw_slowing(rundown: Measured, window: Window | None = None, width: Width = Width.WIDE) -> Drawing:
    """Draw speed against time.

    Parameters
    ----------
    rundown : Rundown or SpeedRundown
    window : Window, optional
        The fair window, shaded.
    width : Width
        For which width.

    Returns
    -------
    Drawing
        Dots: the mean speed of single turns, or speeds as read (at most 60 of them). Line: fitted.
    """
    times, speeds = fitted_speeds(rundown)
    zero = float(times[0])
    dots = _dots(rundown, zero)
    hill = hill_of(rundown)
    caught = capture_speed(hill)[0] if hill is not None else 0.0
    span = float(times[-1]) - zero
    frame = upright(width, _HEIGHT[width], _time_span(span), Span(0, float(speeds[0]) * 1.06, "r/min", PER_MINUTE))
    line = [{"time": float(at) - zero, "speed": float(speed)} for at, speed in zip(times, speeds, strict=True)]
    curve = line[:: max(1, len(line) // 300)] + line[-1:]
    layers: list[Layer] = [
        *_shaded(window, curve, frame),
        *frame.layers,
        layer("line", curve, x="time", y="speed", stroke="ink", strokeWidth=2.2, interpolate="linear"),
        layer("point", dots, x="time", y="speed", shape="circle", size=44, fill="ink2", filled=True, opacity=1),
        *_caught(caught, frame),
    ]
    return Drawing(
        name="slowing",
        title="How it slowed down",
        alternative=_said(rundown, window, span, caught),
        caption=_caption(rundown, window, caught),
        description=describe(width.value, _HEIGHT[width], frame.x, frame.y, layers),
        columns=("Time since the first pass, s", "Speed, r/min"),
        rows=tuple((f"{row['time']:.2f}", f"{row['speed'] * PER_MINUTE:.2f}") for row in dots),
        width=width.value,
        height=_HEIGHT[width],
    )


def clock_words(seconds: float) -> str:
    """Write a time as minutes and seconds.

    Examples
    --------
    >>> clock_words(268), clock_words(59.6)
    ('4:28', '1:00')
    """
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes}:{rest:02d}"


def _time_span(span: float) -> Span:
    """Graduate time: whole seconds below two minutes, minutes and seconds beyond."""
    if span < 20:
        step = nice_step(span, 6)
        return Span(0, span * 1.02, "seconds since the first pass", most=6)
    step = next((each for each in _STEPS if span / each <= 7), 10 * _STEPS[-1])
    marks = [step * count for count in range(int(span / step) + 1)]
    if span < 120:
        return Span(0, span * 1.02, "seconds since the first pass", marks=[(at, f"{at:.0f}") for at in marks])
    return Span(0, span * 1.02, "minutes since the first pass", marks=[(at, clock_words(at)) for at in marks])


def _dots(rundown: Measured, zero: float) -> list[dict[str, float]]:
    """Choose measured turns, evenly over time."""
    times, speeds = measured_speeds(rundown)
    wanted = np.linspace(times[0], times[-1], min(times.size, _MOST_DOTS))
    chosen = np.unique(np.interp(wanted, times, np.arange(times.size)).round().astype(int))
    return [{"time": float(times[k]) - zero, "speed": float(speeds[k])} for k in chosen]


def _shaded(window: Window | None, curve: list[dict[str, float]], frame: Frame) -> list[Layer]:
    """Shade the window from where the curve falls through its start to where it falls through its end."""
    if window is None:
        return []
    falling = np.array([row["speed"] for row in curve])[::-1]
    at = np.interp([window.speed_from, window.speed_to], falling, np.array([row["time"] for row in curve])[::-1])
    place = {"from": float(at[0]), "to": float(at[1])}
    wide = frame.x.at(place["to"]) - frame.x.at(place["from"])
    text = f"fair window, {window.time:.2f} s" if wide > 150 else f"{window.time:.2f} s"
    middle = {"at": (place["from"] + place["to"]) / 2, "words": text}
    return [
        layer("rect", [place], x="from", x2="to", y=frame.y.start, y2=frame.y.end, fill="band"),
        words([middle], x="at", y=frame.y.end + 16, size=14, bold=True, fill="ink"),
    ]


def _caught(caught: float, frame: Frame) -> list[Layer]:
    """Mark the capture speed."""
    if not caught:
        return []
    bump = "caught" if frame.x.end < Width.PHONE.value else "the bump catches the wheel"
    text = f"{bump} below {caught * PER_MINUTE:.3g} r/min"
    return [
        layer("rule", [{"speed": caught}], x=frame.x.start, x2=frame.x.end, y="speed", stroke="mark",
              strokeDash=[6, 4], strokeWidth=1.5),
        words([{"speed": caught, "words": text}], x=frame.x.start + 6, y="speed", dy=-6, size=14, align="left",
              fill="mark", halo=True),
    ]  # fmt: skip


def _caption(rundown: Measured, window: Window | None, caught: float) -> str:
    """Say what dots, line, shade and dashes are."""
    read = isinstance(rundown, SpeedRundown)
    dots = "Dots: speeds as read." if read else "Dots: measured, each the mean of one turn."
    shaded = " Shaded: the window that counts." if window is not None else ""
    dashed = " Dashed: below this speed the magnetic bump catches the wheel." if caught else ""
    return f"{dots} Line: fitted.{shaded}{dashed}"


def _said(rundown: Measured, window: Window | None, span: float, caught: float) -> str:
    """Say the picture in words."""
    text = (
        f"From {rundown.speed_high * PER_MINUTE:.4g} to {rundown.speed_low * PER_MINUTE:.4g} r/min in {span:.4g} s "
        f"and {turns_of(rundown):.1f} turns."
    )
    if window is not None:
        text += (
            f" From {window.speed_from * PER_MINUTE:.4g} down to {window.speed_to * PER_MINUTE:.4g} r/min it took "
            f"{window.time:.2f} s."
        )
    if caught:
        text += f" Below {caught * PER_MINUTE:.3g} r/min the magnetic bump catches the wheel."
    return text
