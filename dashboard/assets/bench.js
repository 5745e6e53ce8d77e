/* What only the browser can do on the page "Bench". */
(function () {
  "use strict";

  const skip = () => window.dash_clientside.no_update;
  const triggered = () => (window.dash_clientside.callback_context.triggered[0] || {}).prop_id || "";
  const oneByOne = () => document.querySelector("#bench-measuring.bench-one") !== null;
  // Dash writes the parts of an id in the order of their names.
  const fieldOf = (item) => document.getElementById('{"item":"' + item + '","type":"found-value"}');

  // A number that was typed bare; anything else, such as 1/8 in, is left to the server's reading of it.
  const bare = (text) => (/^\s*[+\-\u2212]?\d+([.,]\d+)?\s*$/.test(text)
    ? Number(text.replace("\u2212", "-").replace(",", ".")) : null);

  // As many decimals as the step or the value has, so that 3.1 and 0.1 make 3.2.
  const decimals = (number) => (String(number).split(".")[1] || "").length;
  const written = (number, ...like) => String(Number(number.toFixed(Math.max(...like.map(decimals)))));

  let toFocus = false;
  let modeKnown = false;

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    bench: {
      print: function () {
        window.print();
        return skip();
      },

      // On a narrow screen one item at a time, unless the user said otherwise. Dash's own persistence forgets a
      // choice that is the page's first value, which on a narrow screen is a choice all the same.
      mode: function () {
        modeKnown = true;
        return window.localStorage.getItem("bench-mode")
          || (window.matchMedia("(max-width: 999px)").matches ? "one" : "all");
      },

      turn: function (_previous, _skip, _next, at, rows) {
        const by = triggered().split(".")[0];
        const last = rows.length - 1;
        const now = Math.max(0, Math.min(at, last));
        if (!rows.length) {
          return skip();
        }
        if (by === "bench-skip") {
          window.dash_clientside.set_props({ type: "found-value", item: rows[now].item }, { value: "" });
        }
        if (by !== "bench-previous" && now === last) {
          const way = document.getElementById("way");
          way.setAttribute("tabindex", "-1");
          way.focus();
          return skip();
        }
        toFocus = true;
        return by === "bench-previous" ? Math.max(0, now - 1) : now + 1;
      },

      show: function (at, mode, _children, values, rows) {
        const now = Math.max(0, Math.min(at, rows.length - 1));
        const one = mode === "one";
        if (modeKnown && triggered().startsWith("bench-mode")) {
          window.localStorage.setItem("bench-mode", mode);
        }
        if (toFocus && one) {
          toFocus = false;
          window.setTimeout(function () {
            const field = rows[now] && fieldOf(rows[now].item);
            if (field) {
              field.focus();
            }
          }, 60);
        }
        const measured = values.filter((value) => value !== null && value !== undefined && value !== "").length;
        const told = rows.length
          ? (one ? now + 1 + " of " + rows.length + ", " : "") + measured
            + (one ? " measured" : " of " + rows.length + " measured")
          : "";
        return [
          rows.map((_row, i) => "found-row" + (i === now ? " found-row-now" : "")),
          one ? "bench-one" : "bench-all",
          told,
          String(one ? now + 1 : measured),
          String(Math.max(1, rows.length)),
          now === 0,
          one && rows[now] ? rows[now].item : null,
        ];
      },

      // The first press takes what was set, each further one a step of the gauge.
      step: function (_clicks, id, sizes) {
        const size = (sizes || {})[id.item];
        const pressed = triggered();
        if (!size || !pressed || !window.dash_clientside.callback_context.triggered[0].value) {
          return skip();
        }
        const text = (fieldOf(id.item) || {}).value || "";
        const now = text.trim() === "" ? null : (bare(text) === null ? size.now : bare(text));
        if (pressed.includes('"way":"turn"')) {
          return now === null ? skip() : written(-now, now);
        }
        if (now === null) {
          return text.trim() === "" ? written(size.set === null ? 0 : size.set, size.set || 0) : skip();
        }
        return written(now + (pressed.includes('"way":"more"') ? size.step : -size.step), now, size.step);
      },
    },
  });

  // Enter goes on to the next item, the arrows go by the gauge's step.
  document.addEventListener("keydown", function (event) {
    const row = event.target.closest && event.target.closest(".found-value") && event.target.closest(".found-row");
    if (!row || event.target.tagName !== "INPUT" || event.isComposing) {
      return;
    }
    if (event.key === "Enter" && oneByOne()) {
      event.preventDefault();
      event.target.blur();
      document.getElementById("bench-next").click();
    } else if (event.key === "ArrowUp" || event.key === "ArrowDown") {
      event.preventDefault();
      const way = event.key === "ArrowUp" ? "more" : "less";
      Array.from(row.querySelectorAll(".found-steps button"))
        .find((button) => button.id.includes('"way":"' + way + '"')).click();
    }
  });
})();
