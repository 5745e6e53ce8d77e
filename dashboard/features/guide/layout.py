"""The page "Guide": the same topics as ``reciprocal guide`` prints."""

from __future__ import annotations

from typing import Any, Final

from dash import dcc, html

from dashboard.ui.links import GUIDE, guide_link
from telemetry.core.errors import CallError
from telemetry.text.guide import TOPICS, topic_text

PATH: Final = GUIDE
NAME: Final = "Guide"
QUESTION: Final = "How is it done?"


def layout(topic: str | None = None, **_query: str) -> html.Main:
    """Build the page with one topic, or with their list."""
    return html.Main(
        [html.H1(QUESTION), _topics(topic), *_text(topic)], id="guide", className="page plain guide"
    )


def _topics(chosen: str | None) -> html.Nav:
    items = [
        html.Li(
            dcc.Link(title, href=guide_link(name), className="chosen" if name == chosen else ""),
            **({"aria-current": "true"} if name == chosen else {}),
        )
        for name, title in TOPICS.items()
    ]
    listed: Any = html.Ul(items)
    if chosen is not None:  # folded, so that a phone shows the topic at once
        listed = html.Details([html.Summary("Topics"), listed])
    return html.Nav(listed, **{"aria-label": "Topics"})


def _text(topic: str | None) -> list[Any]:
    if topic is None:
        return []
    try:
        text = topic_text(topic)
    except CallError as error:
        return [html.P(f"{error.reason}. {error.hint}.", role="alert")]
    # The page has its own first heading.
    return [html.Article(dcc.Markdown(text.replace("\n## ", "\n### ").replace("# ", "## ", 1)))]
