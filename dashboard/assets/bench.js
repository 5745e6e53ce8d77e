/* What only the browser can do on the page "Bench". */
(function () {
  "use strict";

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    bench: {
      print: function () {
        window.print();
        return window.dash_clientside.no_update;
      },
    },
  });
})();
