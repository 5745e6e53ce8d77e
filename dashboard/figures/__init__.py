"""Pure functions from an analysis to a plotly figure: no Dash, no state, no input or output."""
