"""One pass's ripple with its oscillations, and its spectrum with the part hidden by sampling."""

from __future__ import annotations

from typing import Final

import numpy as np
import plotly.graph_objects as go

from dashboard.ui.base_figure import blank_figure, empty_figure
from dashboard.ui.palette import LIGHT, Palette, with_alpha
from telemetry.ride.spectrum_view import Envelope, RippleCurve, RippleView

# Name, unit of the ripple and unit of its density, as read on the axes.
_SIGNALS: Final = {
    "speed_mps": ("Speed", "m/s", "(m/s)²/Hz"),
    "vertical_mps": ("Vertical speed", "m/s", "(m/s)²/Hz"),
    "az_mps2": ("Vertical acceleration", "m/s²", "(m/s²)²/Hz"),
    "gy_dps": ("Pitch rate", "°/s", "(°/s)²/Hz"),
    "alt_m": ("Altitude", "m", "m²/Hz"),
}
_NOTHING: Final = "This pass has neither measured speed nor vertical motion to search"
# Range drawn beyond half the sampling rate, as a share of it: room for the label that it is hidden.
_BEYOND: Final = 1.35


def ripple_time(view: RippleView, palette: Palette = LIGHT, *, coarse: bool = False) -> go.Figure:
    """Draw the ripple of a pass over time, one panel a signal, with the envelope of each oscillation found.

    Parameters
    ----------
    view : RippleView
    palette : Palette
    coarse : bool
        True for a finger: dragging then scrolls the page instead of zooming.
    """
    if not view.curves:
        return empty_figure(_NOTHING, palette)
    figure = _panels(view, palette, coarse=coarse)
    for row, curve in enumerate(view.curves, start=1):
        name, unit, _ = _SIGNALS[curve.name]
        figure.add_trace(_line(curve.t_s, curve.values, row, palette.ink, f"%{{y:.2f}} {unit}", name))
        for envelope in view.envelopes:
            if envelope.name == curve.name:
                figure.add_trace(_outline(envelope, row, palette))
        figure.update_layout({_axis("yaxis", row): {"title": {"text": f"{name} [{unit}]"}, "zeroline": True}})
    if view.takeoff_end_s is not None:
        figure.add_vline(x=view.takeoff_end_s, line={"color": palette.quiet, "width": 1, "dash": "dot"})
        figure.add_annotation(
            x=view.takeoff_end_s,
            y=1.0,
            yref="paper",
            yanchor="bottom",
            text="take-off | at speed",
            showarrow=False,
            font={"color": palette.quiet},
        )
    figure.update_xaxes(title_text="Time from the log's first sample [s]")
    return figure


def ripple_spectrum(view: RippleView, palette: Palette = LIGHT, *, coarse: bool = False) -> go.Figure:
    """Draw the spectrum of a pass's ripple; shade the searched band and the part hidden by sampling.

    Parameters
    ----------
    view : RippleView
    palette : Palette
    coarse : bool
        True for a finger: dragging then scrolls the page instead of zooming.
    """
    if not view.curves or view.band_hz is None:
        why = _NOTHING if view.band_hz else f"{view.rate_hz:.1f} samples a second are too few for a spectrum"
        return empty_figure(why, palette)
    figure = _panels(view, palette, coarse=coarse)
    for row, curve in enumerate(view.curves, start=1):
        name, _, unit = _SIGNALS[curve.name]
        shown = curve.f_hz >= 0.5 * view.band_hz[0]
        f, density, floor = curve.f_hz[shown], curve.density[shown], curve.floor[shown]
        figure.add_trace(_line(f, density, row, palette.ink, f"%{{x:.2f}} Hz: %{{y:.3g}} {unit}", name))
        trace = _line(f, floor, row, palette.quiet, f"%{{y:.3g}} {unit}", "noise level")
        figure.add_trace(trace.update(line={"dash": "dash", "width": 1.4}))
        axis = {"type": "log", "title": {"text": f"{name} [{unit}]"}, "range": _decades(curve, shown)}
        figure.update_layout({_axis("yaxis", row): axis})
    low, high = view.band_hz
    end = _BEYOND * view.nyquist_hz
    figure.add_vrect(x0=low, x1=high, fillcolor=with_alpha(palette.out, 0.10), line_width=0, layer="below")
    figure.add_vrect(
        x0=view.nyquist_hz, x1=end, fillcolor=with_alpha(palette.quiet, 0.22), line_width=0, layer="below"
    )
    # Anchored at the edge, the labels stay on a narrow screen.
    for x, anchor, text in ((0.5 * (low + high), "center", "searched"), (end, "right", "hidden by sampling")):
        figure.add_annotation(
            x=x,
            xanchor=anchor,
            y=1.0,
            yref="paper",
            yanchor="bottom",
            text=text,
            showarrow=False,
            font={"color": palette.quiet},
        )
    for envelope in view.envelopes:
        if envelope.name == view.curves[0].name and envelope.event.frequency_hz is not None:
            figure.add_vline(
                x=envelope.event.frequency_hz,
                line={"color": palette.back, "width": 1.4},
                annotation={
                    "text": f"{envelope.event.frequency_hz:.2f} Hz",
                    "font": {"color": palette.back},
                },
                annotation_position="bottom right",
            )
    figure.update_xaxes(title_text="Frequency [Hz]", range=[0.0, end])
    return figure


def _axis(name: str, row: int) -> str:
    return name if row == 1 else f"{name}{row}"


def _panels(view: RippleView, palette: Palette, *, coarse: bool) -> go.Figure:
    """Return a blank figure with one panel a signal above another, on one x axis."""
    figure = blank_figure(palette, coarse=coarse)
    rows = len(view.curves)
    style = figure.layout.yaxis.to_plotly_json()
    gap = 0.06
    height = (1.0 - gap * (rows - 1)) / rows
    for row in range(1, rows + 1):
        top = 1.0 - (row - 1) * (height + gap)
        figure.update_layout(
            {_axis("yaxis", row): {**style, "domain": [max(0.0, top - height), top], "anchor": "x"}}
        )
    figure.update_xaxes(anchor=_axis("y", rows))
    figure.update_yaxes(automargin=True, title_standoff=10)
    return figure


def _line(x: np.ndarray, y: np.ndarray, row: int, colour: str, hover: str, name: str) -> go.Scatter:
    return go.Scatter(
        x=x,
        y=y,
        yaxis=_axis("y", row),
        name=name,
        mode="lines",
        line={"color": colour, "width": 1.4},
        hovertemplate=f"{hover}<extra>{name}</extra>",
    )


def _outline(envelope: Envelope, row: int, palette: Palette) -> go.Scatter:
    """Both edges of one oscillation's envelope as one closed path."""
    event = envelope.event
    return go.Scatter(
        x=np.r_[envelope.t_s, envelope.t_s[::-1], envelope.t_s[:1]],
        y=np.r_[envelope.upper, -envelope.upper[::-1], envelope.upper[:1]],
        yaxis=_axis("y", row),
        name=event.verdict,
        mode="lines",
        line={"color": palette.back, "width": 1.6},
        fill="toself",
        fillcolor=with_alpha(palette.back, 0.12),
        hoverinfo="text",
        text=f"{event.verdict}: {event.frequency_hz:.2f} Hz" if event.frequency_hz else event.verdict,
    )


def _decades(curve: RippleCurve, shown: np.ndarray) -> list[float]:
    values = np.r_[curve.density[shown], curve.floor[shown]]
    values = values[values > 0]
    if values.size == 0:
        return [-6.0, 0.0]
    top = float(np.log10(values.max()))
    return [max(float(np.log10(values.min())), top - 5.0) - 0.2, top + 0.3]
