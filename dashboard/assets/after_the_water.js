/* What only the browser can do on the page "After the water". */
(function () {
  "use strict";

  // A data URL holds four characters for three bytes.
  const size = (content) => (content ? Math.round((content.length - content.indexOf(",")) * 0.75) : 0);
  const megabytes = (bytes) => Math.ceil(bytes / 1e6) + " MB";

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    afterTheWater: {
      // Keep what the server accepts, say what it does not, and empty the drop so the same file can come again.
      sortOut: function (contents, names, limits) {
        const skip = window.dash_clientside.no_update;
        if (!contents || !contents.length) {
          return [skip, skip, skip];
        }
        const [largest, mostBytes, mostFiles] = limits;
        const accepted = [];
        const refused = [];
        let total = 0;
        contents.forEach(function (content, i) {
          const bytes = size(content);
          if (bytes > largest) {
            refused.push(names[i] + ": " + megabytes(bytes) + " is more than the " + megabytes(largest)
              + " a file may have. Cut the outing out of it first.");
          } else if (accepted.length >= mostFiles || total + bytes > mostBytes) {
            refused.push(names[i] + ": too much at once. Drop at most " + mostFiles + " files or "
              + megabytes(mostBytes) + " together; drop this one again.");
          } else {
            total += bytes;
            accepted.push({ name: names[i], contents: content });
          }
        });
        return [accepted, refused.join(" "), null];
      },
    },
  });
})();
