/* The cursor of the page "Overlay": one place of the abscissa, in every plot and in the table. */
(function () {
  "use strict";

  const skip = () => window.dash_clientside.no_update;
  const NOT_KNOWN = "–";

  // Where a pass first comes by a place: the sample before it, and how far on to the next.
  function between(x, place) {
    for (let k = 0; k + 1 < x.length; k += 1) {
      if ((x[k] - place) * (x[k + 1] - place) <= 0) {
        const step = x[k + 1] - x[k];
        return { k: k, share: step ? (place - x[k]) / step : 0 };
      }
    }
    return null;
  }

  function valueAt(values, at) {
    const a = values && at ? values[at.k] : null;
    const b = values && at ? values[at.k + 1] : null;
    return a === null || b === null ? null : a + at.share * (b - a);
  }

  function reading(row, place, decimals) {
    const at = row ? between(row.x, place) : null;
    const value = at ? valueAt(row.y, at) : null;
    if (value === null) {
      return { value: null, text: NOT_KNOWN };
    }
    const half = row.u95 ? valueAt(row.u95, at) : null;
    const text = value.toFixed(decimals) + (half === null ? "" : " ± " + half.toFixed(decimals));
    return { value: value, text: text };
  }

  function clock(seconds) {
    return new Date(Math.round(seconds * 100) * 10).toISOString().slice(11, 22) + " UTC";
  }

  const placeText = (data, place) =>
    "At " + (data.abscissa.kind === "day" ? clock(place) : place.toFixed(2) + " " + data.abscissa.unit);

  function plotOf(id) {
    const box = document.getElementById(id);
    return window.Plotly && box ? box.querySelector(".js-plotly-plot") : null;
  }

  function dot(x, y, xref, yref, pass, data, label) {
    const r = label ? 10 : 5;
    return {
      type: "circle", name: "cursor", xref: xref, yref: yref, xsizemode: "pixel", ysizemode: "pixel",
      xanchor: x, yanchor: y, x0: -r, x1: r, y0: -r, y1: r, layer: "above",
      fillcolor: label ? data.paper : pass.colour,
      line: { color: label ? pass.colour : data.paper, width: label ? 3 : 1.5 },
      label: label ? { text: label, font: { color: data.ink, size: 12 } } : undefined,
    };
  }

  const isCursor = (shape) => shape.name === "cursor";
  const cursors = new WeakMap();

  function put(plot) {
    const others = (plot.layout.shapes || []).filter((shape) => !isCursor(shape));
    window.Plotly.relayout(plot, { shapes: others.concat(cursors.get(plot)) });
  }

  // Only the shapes are redrawn: lines of thousands of points are unchanged. A plot that the server
  // redraws has lost them, and gets them again.
  function mark(plot, shapes) {
    if (!plot || !plot.layout) {
      return;
    }
    if (!cursors.has(plot)) {
      plot.on("plotly_afterplot", function () {
        if (cursors.get(plot).length && !(plot.layout.shapes || []).some(isCursor)) {
          put(plot);
        }
      });
    }
    cursors.set(plot, shapes);
    put(plot);
  }

  let drawn = 0;
  function draw(data, place, values) {
    window.cancelAnimationFrame(drawn);
    drawn = window.requestAnimationFrame(function () {
      const x = place * data.abscissa.scale;
      const line = {
        type: "line", name: "cursor", x0: x, x1: x, yref: "paper", y0: 0, y1: 1,
        line: { color: data.ink, width: 1.5 },
      };
      const dots = values.filter((v) => v.value !== null).map((v) => dot(x, v.value, "x", v.axis, v.pass, data));
      mark(plotOf("overlay-plots"), [line].concat(dots));
      const places = data.passes.map(function (pass) {
        const at = pass.east ? between(pass.x, place) : null;
        const east = at ? valueAt(pass.east, at) : null;
        return east === null ? null : dot(east, valueAt(pass.north, at), "x", "y", pass, data, pass.mark);
      });
      mark(plotOf("overlay-plan"), places.filter((one) => one !== null));
    });
  }

  // Where a plot is pointed at: the plan tells its place on the abscissa, a clock axis a moment in text.
  function pointed(told, scale) {
    const point = told && told.points && told.points[0];
    if (!point) {
      return null;
    }
    if (point.customdata !== undefined) {
      return Number(point.customdata);
    }
    if (typeof point.x === "string") {
      const moment = point.x.length > 10 ? point.x.replace(" ", "T") : point.x + "T00:00";
      return Date.parse(moment + "Z") / scale;
    }
    return Number(point.x) / scale;
  }

  window.dashMantineFunctions = Object.assign({}, window.dashMantineFunctions, {
    // Every word somewhere in a choice or its group, in any order.
    everyWord: function (asked) {
      const words = asked.search.toLowerCase().split(/\s+/).filter(Boolean);
      const has = (text) => words.every((word) => text.toLowerCase().includes(word));
      let left = asked.limit || Infinity;
      const fitting = function (options, group) {
        const some = options.filter((one) => has(one.label + " " + group)).slice(0, left);
        left -= some.length;
        return some;
      };
      return asked.options
        .map((one) => (one.items ? Object.assign({}, one, { items: fitting(one.items, one.group) }) : one))
        .filter((one) => (one.items ? one.items.length : fitting([one], "").length));
    },
  });

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    overlay: {
      // The cursor's reach, in steps that the arrow keys take; it stays where it is as long as it can.
      reach: function (data, place) {
        if (!data || !data.passes.length) {
          return [skip(), skip(), skip(), skip()];
        }
        const low = data.abscissa.low;
        const high = data.abscissa.high;
        const step = Math.pow(10, Math.floor(Math.log10((high - low) / 300)));
        const kept = place > low && place < high ? place : data.abscissa.kind === "day" ? (low + high) / 2 : 0;
        return [low, high, step, Math.min(Math.max(kept, low), high)];
      },

      point: function (plotsOver, plotsPressed, planOver, planPressed, data) {
        const told = window.dash_clientside.callback_context.triggered[0];
        const place = data && told ? pointed(told.value, data.abscissa.scale) : null;
        return place === null || Number.isNaN(place) ? skip() : place;
      },

      move: function (place, data, cells) {
        if (!data || !data.passes.length || place === null || place === undefined) {
          return [cells.map(() => NOT_KNOWN), "", ""];
        }
        const told = {};
        const values = [];
        data.passes.forEach(function (pass) {
          data.rows.forEach(function (row) {
            const read = reading(pass.rows[row.name], place, row.decimals);
            told[pass.mark + " " + row.name] = read.text;
            values.push({ value: read.value, axis: row.axis, pass: pass });
          });
        });
        draw(data, place, values);
        const first = data.rows[0];
        const speeds = data.passes.map((pass) => pass.mark + "\u00a0" + told[pass.mark + " " + first.name].split(" ")[0]);
        return [
          cells.map((id) => told[id.pass + " " + id.row] || NOT_KNOWN),
          placeText(data, place),
          first.unit + ":   " + speeds.join("   "),
        ];
      },
    },
  });
})();
