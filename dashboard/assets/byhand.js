/* Marking a stretch of the speed over time: what only the browser's plot can tell. */
(function () {
  "use strict";

  const skip = () => window.dash_clientside.no_update;

  const drawn = () => document.querySelector("#speed-time .js-plotly-plot");

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    byHand: {
      // Let the next drag over the plot mark a stretch, with a finger too.
      begin: function (clicks) {
        const plot = drawn();
        if (clicks && plot) {
          window.Plotly.relayout(plot, { dragmode: "select", selectdirection: "h" });
          plot.scrollIntoView({ block: "nearest" });
        }
        return skip();
      },

      // Both ends of what was marked; the samples in it stay in the browser.
      marked: function (selected) {
        return selected && selected.range && selected.range.x ? selected.range.x : skip();
      },

      // Forget the mark once something was done with it, and let a drag do again what it did.
      end: function (_revision, surroundings) {
        const plot = drawn();
        if (plot && plot.layout && plot.layout.selections && plot.layout.selections.length) {
          window.Plotly.relayout(plot, {
            selections: [],
            dragmode: surroundings && surroundings.coarse ? false : "zoom",
          });
        }
        return skip();
      },
    },
  });
})();
