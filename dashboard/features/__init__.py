"""One folder a feature: layout, callbacks, view, figures, service."""
