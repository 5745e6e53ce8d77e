"""Call a Dash app's callbacks the way the browser does: by POST to its update route."""

from __future__ import annotations

import json
from typing import Any

from dash import Dash
from flask.testing import FlaskClient


class DashClient:
    """Find callbacks by their function's name and call them over HTTP."""

    def __init__(self, app: Dash) -> None:
        self.http: FlaskClient = app.server.test_client()
        self.http.get("/", base_url="http://127.0.0.1:8050")  # the first request sets the app up
        self._callbacks = app.callback_map
        self.beside: dict[str, Any] = {}
        """What the latest call set beside its outputs, as ``{id: {property: value}}``."""

    def call(self, name: str, values: dict[str, Any], changed: str) -> Any:
        """Return the outputs as ``{id: {property: value}}``, or ``None`` where nothing is to change."""
        key = next(
            k for k, v in self._callbacks.items() if getattr(v.get("callback"), "__name__", "") == name
        )
        return self.post(key, values, changed)

    def followers(self, changed: str, module: str) -> list[str]:
        """Return the keys of the callbacks of a module that a property's change sets off."""
        return [
            key
            for key, spec in self._callbacks.items()
            if getattr(spec.get("callback"), "__module__", "").startswith(module)
            and any(f"{d['id']}.{d['property']}" == changed for d in spec["inputs"])
        ]

    def post(self, key: str, values: dict[str, Any], changed: str) -> Any:
        """Call a callback by its key."""
        spec = self._callbacks[key]
        body = {
            "output": key,
            "outputs": self._outputs(key),
            "inputs": [self._filled(d, values) for d in spec["inputs"]],
            "state": [self._filled(d, values) for d in spec["state"]],
            "changedPropIds": [changed],
        }
        answer = self.http.post("/_dash-update-component", json=body, base_url="http://127.0.0.1:8050")
        if answer.status_code == 204:
            return None
        assert answer.status_code == 200, answer.get_data(as_text=True)
        told = json.loads(answer.get_data(as_text=True))
        self.beside = told.get("sideUpdate", {})
        return told["response"]

    @staticmethod
    def _outputs(key: str) -> Any:
        many = key.startswith("..")
        names = key.strip(".").split("...") if many else [key]
        pairs = (dict(zip(("id", "property"), name.rsplit(".", 1), strict=True)) for name in names)
        # Of a pattern, nothing is there.
        parts = [[] if pair["id"].startswith("{") else pair for pair in pairs]
        return parts if many else parts[0]

    @staticmethod
    def _filled(dependency: dict[str, str], values: dict[str, Any]) -> Any:
        name = f"{dependency['id']}.{dependency['property']}"
        if dependency["id"].startswith("{"):
            return values.get(name, [])
        return {**dependency, "value": values.get(name)}
