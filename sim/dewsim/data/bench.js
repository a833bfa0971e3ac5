/* The bench's page: sends what a person changes, shows each frame, keeps the charts going. */
(function () {
  "use strict";
  var byId = function (id) { return document.getElementById(id); };
  var all = function (query) { return Array.prototype.slice.call(document.querySelectorAll(query)); };
  var shown = 0, asked = 0, newest = null, charts = [], columns = [[], [], [], [], [], [], [], [], []], first = 0;
  var INK = "#161616", PALE = "#d4d4d4";
  var MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split(" ");

  /* Frames and orders are in °C and K; what is shown follows the tick. */
  var fahrenheit = document.querySelector("main").dataset.units === "us";

  function degrees(c) { return fahrenheit && c !== null ? c * 1.8 + 32 : c; }
  function celsius(shown) { return fahrenheit ? String(+((shown - 32) / 1.8).toFixed(4)) : String(shown); }
  function isTemperature(name) { return /_c$/.test(name); }

  /* The same in a sentence: 5.0 °C, -55 to 60 °C, 8 K. */
  function inDegrees(words) {
    if (!fahrenheit) { return words; }
    return words.replace(/(-?\d+(?:\.\d+)?)(?: to (-?\d+(?:\.\d+)?))? (°C|K)(?![A-Za-z])/g, function (_, low, high, unit) {
      var turned = function (n) { return (unit === "K" ? n * 1.8 : degrees(+n)).toFixed(/\./.test(n) ? 1 : 0); };
      return turned(low) + (high === undefined ? "" : " to " + turned(high)) + " °F";
    });
  }

  function two(n) { return (n < 10 ? "0" : "") + n; }
  function minus(text) { return String(text).replace(/-(\d)/g, "\u2212$1"); }
  function text(element, words) { if (element.textContent !== words) { element.textContent = words; } }
  function hide(element, words) { element.hidden = !words; text(element, words || ""); }

  /* asked: orders on their way.  What a frame from before them says must not undo what the person just did.
     asTyped: its value in the unit on the screen, for a refusal. */
  function send(order, asTyped) {
    asked += 1;
    setTimeout(function () { byId("asked").hidden = !asked; }, 1500);
    return fetch("do", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(order) })
      .then(function (answer) { return answer.json(); })
      .then(function (frame) { asked -= 1; byId("asked").hidden = true; hide(byId("refusal"), inDegrees(frame.refusal).replace("'" + order.value + "'", "'" + asTyped + "'")); show(frame, true); })
      .catch(function () { asked = 0; gone(); });
  }

  /* What is old must not look like what is. */
  function old(is) {
    byId("sentence").hidden = byId("lamps").hidden = is;
    document.querySelector("main").classList.toggle("old", is);
  }

  function gone() {
    byId("gone").hidden = newest !== null && newest.ended !== "";
    old(true);
  }

  function ended(words) {
    hide(byId("ended"), words && words.replace(/\.?$/, ".") + " What stands below is old.");
    if (!words) { return; }
    old(true);
    all("button, input, select").forEach(function (c) { c.disabled = c.id !== "span"; });
  }

  /* Whoever is just typing is not overwritten, except after a change that was taken. */
  function put(control, value, answered) {
    if (!answered && control === document.activeElement && control.type === "number") { return; }
    var words = typeof value === "number" ? String(Math.round(value * 100) / 100) : String(value);
    if (control.value !== words) { control.value = words; }
  }

  function list(element, words) {
    var same = words.length === element.children.length && words.every(function (w, i) { return element.children[i].textContent === w; });
    if (same) { return; }
    element.textContent = "";
    words.forEach(function (w) { var li = document.createElement("li"); li.textContent = w; element.appendChild(li); });
  }

  /* A lit lamp is a filled disc with rays and a thick frame, a dark one an empty ring with a bar. */
  var LIT = '<svg viewBox="0 0 16 16" aria-hidden="true"><circle cx="8" cy="8" r="4.5"/><path d="M8 0v2M8 14v2M0 8h2M14 8h2M2.3 2.3l1.5 1.5M12.2 12.2l1.5 1.5M2.3 13.7l1.5-1.5M12.2 3.8l1.5-1.5" stroke="#161616" stroke-width="1.5"/></svg>';
  var DARK = '<svg viewBox="0 0 16 16" aria-hidden="true"><circle cx="8" cy="8" r="6.5" fill="none" stroke="#161616" stroke-width="1.5"/><path d="M4 8h8" stroke="#161616" stroke-width="1.5"/></svg>';

  function lamps(rows) {
    var box = byId("lamps");
    rows.forEach(function (row, i) {
      var cell = box.children[i];
      if (!cell) {
        cell = document.createElement("div");
        cell.innerHTML = "<dt></dt><dd><span class=shape></span><b></b><small></small></dd>";
        box.appendChild(cell);
        text(cell.querySelector("dt"), row[0]);
      }
      var key = row.join("|");
      if (cell.dataset.key === key) { return; }
      cell.dataset.key = key;
      cell.className = row[2] ? "lit" : "";
      cell.querySelector(".shape").innerHTML = row[2] ? LIT : DARK;
      text(cell.querySelector("b"), (row[2] ? "on: " : "off: ") + row[1]);
      text(cell.querySelector("small"), row[3]);
    });
  }

  function ledger(lines) {
    var body = byId("ledger").tBodies[0], last = "";
    while (body.rows.length > lines.length) { body.deleteRow(-1); }
    lines.forEach(function (line, i) {
      var row = body.rows[i];
      if (!row) {
        row = body.insertRow();
        row.innerHTML = "<td></td><td></td><td></td><td></td><td><span></span></td>";
      }
      var kind = (line[1] !== last ? "first" : "") + (line[5] ? " refused" : "") + (i === lines.length - 1 ? " last" : "");
      if (row.className !== kind) { row.className = kind; }
      text(row.cells[0], String(line[0]));
      text(row.cells[1], line[1] !== last ? line[1] : "");
      text(row.cells[2], line[2]);
      text(row.cells[3], minus(inDegrees(line[3])));
      text(row.cells[4].firstChild, minus(inDegrees(line[4])));
      last = line[1];
    });
  }

  function time(frame) {
    var s = frame.seconds, words = "Bench time " + Math.floor(s / 86400) + " d " + two(Math.floor(s / 3600) % 24) + ":" +
      two(Math.floor(s / 60) % 60) + ":" + two(s % 60);
    if (frame.local_s !== null) {
      var d = new Date(frame.local_s * 1000);
      words += "; the board's clock " + d.getUTCDate() + " " + MONTHS[d.getUTCMonth()] + " " + two(d.getUTCHours()) + ":" + two(d.getUTCMinutes());
    } else { words += "; the board knows no time of day"; }
    text(byId("clock"), words + ". Its lamp: " + frame.lamp + ".");
    text(byId("achieved"), frame.paused ? "paused" : frame.achieved < 0.95 * frame.speed && frame.speed > 1 ? "reaches " + Math.round(frame.achieved) : "kept up");
    byId("pause").setAttribute("aria-pressed", String(frame.paused));
  }

  function show(frame, answered) {
    if (frame.n <= shown) { return; }
    shown = frame.n;
    newest = frame;
    byId("gone").hidden = true;
    old(false);
    ended(frame.ended);
    text(byId("sentence"), frame.sentence);
    list(byId("others"), frame.others);
    text(byId("told"), frame.others.length ? "Also told:" : "Nothing else is told.");
    hide(byId("safe"), frame.safe ? "This board is out of service: " + frame.safe + "." : "");
    lamps(frame.lamps);
    ledger(frame.ledger);
    time(frame);
    if (!asked) { controls(frame, answered); }
    list(byId("events"), frame.events);
    text(byId("counts"), "Valve started " + frame.starts + " times, open " + Math.round(frame.open_s / 60) + " min in all; board restarted " + frame.restarts + " times.");
  }

  function controls(frame, answered) {
    put(byId("speed"), frame.speed, answered);
    all("[data-input]").forEach(function (c) {
      var name = c.dataset.input, value = frame.inputs[name];
      put(c, isTemperature(name) ? degrees(value) : value, answered);
    });
    all("[data-held]").forEach(function (c) { c.checked = frame.held.indexOf(c.dataset.held) >= 0; });
    all("[data-fault]").forEach(function (c) { c.checked = frame.faults.indexOf(c.dataset.fault) >= 0; });
    all("[data-fit]").forEach(function (c) { c.checked = frame.fitted[c.dataset.fit] === 1; });
    put(byId("grade"), frame.fitted.fan_grade, answered);
    put(byId("forecast"), frame.forecast, answered);
  }

  /* Charts: what is kept, and the present moment as the last point. */
  function grow(frame) {
    if (frame.first > first + columns[0].length || frame.first < first || frame.kept_from > first + columns[0].length) {
      columns = columns.map(function () { return []; });
      first = frame.first;
    }
    var drop = Math.max(0, frame.kept_from - first);
    if (drop) { columns.forEach(function (c) { c.splice(0, drop); }); first += drop; }
    frame.points.forEach(function (p) { p.forEach(function (v, i) { columns[i].push(v); }); });
  }

  function draw() {
    if (!newest) { return; }
    var now = newest.now, span = +byId("span").value, t = columns[0], from = now[0] - span, lo = 0;
    while (lo < t.length && t[lo] < from) { lo += 1; }
    lo = Math.max(0, lo - 1);
    var part = columns.map(function (c, i) { var out = c.slice(lo); if (t[t.length - 1] < now[0]) { out.push(now[i]); } return out; });
    charts.forEach(function (chart) {
      var data = [part[0]].concat(chart.own.map(function (i) { return chart.lane === undefined ? part[i] : part[i].map(function (v) { return v * 0.7 + (i - 7); }); }));
      if (chart.place.id === "temperatures") { data = data.map(function (c, i) { return i ? c.map(degrees) : c; }); }
      chart.plot.setData(data, false);
      chart.plot.batch(function () {
        chart.plot.setScale("x", { min: from, max: now[0] + span / 200 });
        if (chart.lane === undefined) { chart.plot.setScale("y", range(data, chart.least)); }
      });
    });
  }

  function range(data, least) {
    var low = Infinity, high = -Infinity;
    data.slice(1).forEach(function (c) { c.forEach(function (v) { if (v !== null) { low = Math.min(low, v); high = Math.max(high, v); } }); });
    if (low > high) { return { min: 0, max: least }; }
    var spare = Math.max(0.06 * (high - low), (least - (high - low)) / 2, 0.5);
    return { min: low - spare, max: high + spare };
  }

  /* Bench seconds to the board's clock, where it has one. */
  function shift() { return newest && newest.local_s !== null ? newest.local_s - newest.seconds : 0; }

  function splits(u, axis, min, max, step) {
    var out = [], local = shift();
    for (var s = Math.ceil((min + local) / step) * step - local; s <= max; s += step) { out.push(s); }
    return out;
  }

  function ticks(u, splits) {
    var local = shift();
    return splits.map(function (s) {
      var d = new Date((s + local) * 1000);
      return u.scales.x.max - u.scales.x.min > 200000 ? d.getUTCDate() + " " + MONTHS[d.getUTCMonth()] : two(d.getUTCHours()) + ":" + two(d.getUTCMinutes());
    });
  }

  var STEPS = [60, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400, 172800];

  function chart(id, own, styles, height, lane, least) {
    var place = byId(id), font = "12px " + getComputedStyle(place).fontFamily;
    var axis = { font: font, stroke: INK, grid: { stroke: PALE, width: 1 }, ticks: { show: false } };
    var plot = new uPlot({
      width: Math.max(200, place.clientWidth), height: height, legend: { show: false }, cursor: { show: false },
      scales: { x: { time: false, auto: false }, y: { auto: false, range: lane === undefined ? undefined : [-0.1, 1.8] } },
      axes: [Object.assign({ size: 26, values: ticks, splits: splits, incrs: STEPS, space: 60 }, axis),
        Object.assign({ size: 52, values: function (u, v) { return lane === undefined ? v.map(minus) : ["fan", "valve"]; },
          splits: lane === undefined ? undefined : function () { return [0.35, 1.35]; } }, axis)],
      series: [{}].concat(styles.map(function (s) {
        return { stroke: INK, width: s[0], dash: s[1], points: { show: false }, paths: lane === undefined ? undefined : uPlot.paths.stepped({ align: 1 }) };
      }))
    }, [[0]].concat(own.map(function () { return [null]; })), place);
    charts.push({ plot: plot, own: own, lane: lane, place: place, height: height, least: least });
  }

  function listen() {
    var source = new EventSource("frames");
    source.onmessage = function (event) {
      var frame = JSON.parse(event.data);
      grow(frame);
      show(frame, false);
      draw();
    };
    source.onerror = gone;
  }

  /* What this bench cannot do: out of reach, and said why. */
  function lack() {
    var lacks = JSON.parse(document.querySelector("main").dataset.lacks);
    if (lacks.length) { byId("span").value = "3600"; }  // its time runs no faster
    lacks.forEach(function (row) {
      hide(byId(row[0]), row[2]);
      all(row[1]).forEach(function (c) { c.disabled = true; c.setAttribute("aria-describedby", row[0]); });
    });
  }

  /* An input as it stands on the page, in the unit of orders. */
  function typed(control) {
    return isTemperature(control.dataset.input) && control.value !== "" ? celsius(control.value) : control.value;
  }

  /* After a change of the tick, and at the start: units, bounds, and all figures of the newest frame. */
  function showUnits(was) {
    byId("fahrenheit").checked = fahrenheit;
    all(".degrees").forEach(function (el) { text(el, fahrenheit ? "°F" : "°C"); });
    all("input[type=number]").forEach(function (c) {
      if (c.id !== "steady" && !isTemperature(c.dataset.input)) { return; }
      ["min", "max"].forEach(function (bound) {
        c.dataset[bound] = c.dataset[bound] || c[bound];
        c[bound] = Math.round(degrees(+c.dataset[bound]));
      });
    });
    if (was !== fahrenheit) {
      var steady = byId("steady");
      steady.value = +(fahrenheit ? degrees(+steady.value) : (steady.value - 32) / 1.8).toFixed(2);
    }
    if (newest) { ledger(newest.ledger); controls(newest, true); draw(); }
  }

  function wire() {
    byId("fahrenheit").addEventListener("change", function () {
      fahrenheit = byId("fahrenheit").checked;
      showUnits(!fahrenheit);
    });
    all("[data-do]").forEach(function (b) { b.addEventListener("click", function () { send(JSON.parse(b.dataset.do)); }); });
    all("[data-input]").forEach(function (c) {
      c.addEventListener("change", function () { send({ do: "set", name: c.dataset.input, value: typed(c) }, c.value); });
    });
    all("[data-held]").forEach(function (c) {
      c.addEventListener("change", function () {
        var name = c.dataset.held;
        send(c.checked ? { do: "set", name: name, value: typed(byId("i-" + name)) } : { do: "release", name: name });
      });
    });
    all("[data-fault]").forEach(function (c) { c.addEventListener("change", function () { send({ do: "fault", name: c.dataset.fault, on: c.checked }); }); });
    all("[data-fit]").forEach(function (c) { c.addEventListener("change", function () { send({ do: "fit", name: c.dataset.fit, value: c.checked ? 1 : 0 }); }); });
    byId("grade").addEventListener("change", function () { send({ do: "fit", name: "fan_grade", value: +byId("grade").value }); });
    byId("speed").addEventListener("change", function () { send({ do: "speed", factor: +byId("speed").value }); });
    byId("pause").addEventListener("click", function () { send({ do: "pause", on: !(newest && newest.paused) }); });
    byId("span").addEventListener("change", draw);
    byId("tell").addEventListener("click", function () {
      var parts = byId("daytime").value.split(":");
      send({ do: "clock", minute: 60 * +parts[0] + +parts[1] });
    });
    ["forecast", "steady"].forEach(function (id) {
      byId(id).addEventListener("change", function () { send({ do: "forecast", kind: byId("forecast").value, outdoor_c: +celsius(byId("steady").value) }); });
    });
  }

  lack();
  wire();
  showUnits(false);
  chart("temperatures", [1, 2, 3], [[1.2, [2, 3]], [2.4], [1.2]], 170, undefined, 6);
  chart("humidities", [4, 5, 6], [[2.4], [1.2], [1.2, [2, 3]]], 170, undefined, 10);
  chart("states", [7, 8], [[1.5], [1.5]], 90, 1);
  window.addEventListener("resize", function () {
    charts.forEach(function (c) { c.plot.setSize({ width: Math.max(200, c.place.clientWidth), height: c.height }); });
    draw();
  });
  listen();
}());
