/* Makes the report's drawings zoomable: one uPlot chart a pane, panes of a figure on one time axis. */
(function () {
  "use strict";
  var box = document.getElementById("data");
  if (!window.uPlot || !box) { return; }
  var report = JSON.parse(box.textContent);
  var DAY = 86400, INK = "#161616", PALE = "#d4d4d4", BAND = "#dcdcdc";
  var FINE_BELOW_S = 40 * DAY; /* a shorter view shows the finer level */
  var MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split(" ");

  var NOTHING = { paths: function () { return null; }, points: { show: false } };

  function two(n) { return (n < 10 ? "0" : "") + n; }
  function minus(text) { return text.replace("-", "\u2212"); }

  /* Times are local standard time carried as if UTC, so the browser's own zone never enters. */
  function stamp(second, withClock) {
    var d = new Date(second * 1000);
    var day = d.getUTCDate() + " " + MONTHS[d.getUTCMonth()];
    return withClock ? day + ", " + two(d.getUTCHours()) + ":" + two(d.getUTCMinutes()) : day;
  }

  function tickText(second, step) {
    var d = new Date(second * 1000);
    if (step >= 27 * DAY) { return MONTHS[d.getUTCMonth()]; }
    if (step >= DAY || d.getUTCHours() + d.getUTCMinutes() === 0) { return stamp(second, false); }
    return two(d.getUTCHours()) + ":" + two(d.getUTCMinutes());
  }

  function times(level) {
    var t = [];
    for (var i = 0; i < level.n; i++) { t.push(level.t0 + (i + 0.5) * level.step); }
    return t;
  }

  function column(level, name) {
    var scale = level.columns[name][0];
    return level.columns[name][1].map(function (v) { return v === null ? null : v / scale; });
  }

  function spans(gaps) {
    var out = [], at = 0;
    for (var i = 0; i < gaps.length; i += 2) {
      at += gaps[i];
      out.push([at, gaps[i + 1]]);
      at += gaps[i + 1];
    }
    return out;
  }

  function names(pane, level) {
    return bands(pane, level).concat(pane.lines.map(function (line) { return line.column; }));
  }

  /* A band's two edges come first, so that every line is painted over it. */
  function bands(pane, level) { return pane.band.length && level.columns[pane.band[0]] ? pane.band : []; }

  function Figure(element, spec) {
    this.element = element;
    this.spec = spec;
    this.level = spec.levels.length - 1;
    this.t = spec.levels.map(times);
    this.charts = [];
    this.data = [];
    this.busy = false;
    this.min = spec.start;
    this.max = spec.end;
    this.values = {};
    var self = this;
    Array.prototype.forEach.call(element.querySelectorAll(".v"), function (v) { self.values[v.dataset.column] = v; });
    this.tools();
    this.busy = true;
    Array.prototype.forEach.call(element.querySelectorAll(".live"), function (place) {
      self.chart(place, spec.panes[+place.dataset.pane]);
    });
    this.view(spec.start, spec.end);
  }

  Figure.prototype.tools = function () {
    var bar = document.createElement("div");
    bar.className = "tools";
    bar.setAttribute("role", "group");
    bar.setAttribute("aria-label", "Time shown");
    this.clock = document.createElement("output");
    this.clock.textContent = stamp(this.min, true) + " to " + stamp(this.max, true);
    bar.appendChild(this.button("Whole", 0, 0));
    bar.appendChild(this.button("Closer", 0.5, 0));
    bar.appendChild(this.button("Wider", 2, 0));
    bar.appendChild(this.button("Earlier", 1, -0.5));
    bar.appendChild(this.button("Later", 1, 0.5));
    bar.appendChild(this.clock);
    var hint = document.createElement("span");
    hint.className = "hint";
    hint.textContent = "Drag across a chart to look closer, double-click for the whole.";
    bar.appendChild(hint);
    this.element.insertBefore(bar, this.element.firstChild);
  };

  /* zoom 0: everything; else the view's width times zoom, moved by a share of it. */
  Figure.prototype.button = function (text, zoom, move) {
    var self = this, b = document.createElement("button");
    b.type = "button";
    b.textContent = text;
    b.addEventListener("click", function () {
      var s = self.spec, all = s.end - s.start, wide = self.max - self.min;
      var middle = (self.min + self.max) / 2 + move * wide;
      wide = zoom ? Math.min(all, Math.max(wide * zoom, 600)) : all;
      var min = Math.min(Math.max(middle - wide / 2, s.start), s.end - wide);
      self.view(min, min + wide);
    });
    return b;
  };

  Figure.prototype.view = function (min, max) {
    var s = this.spec;
    min = Math.max(min, s.start);
    max = Math.min(max, s.end);
    if (!(max - min >= 60)) { min = s.start; max = s.end; }
    var level = max - min > FINE_BELOW_S ? s.levels.length - 1 : 0;
    var change = level !== this.level;
    this.level = level;
    this.min = min;
    this.max = max;
    this.busy = true;
    this.charts.forEach(function (chart, i) {
      if (change) { chart.setData(this.data[i][level], false); }
      chart.setScale("x", { min: min, max: max });
    }, this);
    this.busy = false;
    this.tell(null);
  };

  /* The values under the pointer, each beside its label. */
  Figure.prototype.tell = function (index) {
    var level = this.spec.levels[this.level], t = this.t[this.level];
    var there = index !== null && index !== undefined && index >= 0 && index < level.n;
    this.element.classList.toggle("pointed", there);
    this.clock.textContent = there
      ? stamp(level.step >= DAY ? t[index] : t[index] - level.step / 2, level.step < DAY)
      : stamp(this.min, true) + " to " + stamp(this.max, true);
    this.spec.panes.forEach(function (pane) {
      pane.lines.forEach(function (line) {
        var c = level.columns[line.column];
        var known = there && c[1][index] !== null;
        this.values[line.column].textContent = known ? minus((c[1][index] / c[0]).toFixed(line.places)) + "\u00a0" + line.unit : "";
      }, this);
    }, this);
  };

  Figure.prototype.chart = function (place, pane) {
    var self = this, levels = this.spec.levels;
    var data = levels.map(function (level, i) {
      return [self.t[i]].concat(names(pane, level).map(function (name) { return column(level, name); }));
    });
    if (pane.kind === "marks") { data = levels.map(function (level, i) { return [self.t[i], self.t[i].map(function () { return 0; })]; }); }
    var chart = new uPlot(this.options(place, pane, levels[0]), data[this.level], place);
    this.charts.push(chart);
    this.data.push(data);
    place.setAttribute("role", "img");
    place.setAttribute("aria-label", pane.title + "; the tables beside hold the figures");
  };

  Figure.prototype.options = function (place, pane, level) {
    var self = this, lines = pane.kind === "lines", font = getComputedStyle(place).fontFamily;
    var lanes = pane.kind === "marks" ? this.spec.marks : pane.lines;
    var side = place.clientWidth < 480 ? 64 : 78; /* lane names need it */
    var pixels = "12px " + font, axis = lines || place === this.element.querySelector(".pane:last-of-type .live");
    return {
      width: Math.max(place.clientWidth, 200),
      height: pane.height + (axis ? 36 : 12),
      padding: [10, 8, axis ? 0 : 2, 0],
      legend: { show: false },
      cursor: {
        sync: { key: this.element.dataset.figure, setSeries: false },
        drag: { x: true, y: false },
        y: false,
        points: { show: lines, size: 6, fill: "#fff", stroke: INK }
      },
      tzDate: function (second) { return uPlot.tzDate(new Date(second * 1000), "Etc/UTC"); },
      scales: { x: { time: true, range: function (u, min, max) { return [min, max]; } },
        y: { range: lines ? [pane.low, pane.high] : [0, lanes.length] } },
      axes: [
        { show: axis, size: 26, font: pixels, stroke: INK, grid: { stroke: PALE, width: 1 }, ticks: { show: false }, gap: 4, align: 1,
          values: function (u, splits, i, space, step) {
            var per = (place.clientWidth - side - 8) / (self.max - self.min); /* no label is cut at the right end */
            return splits.map(function (s) { return (self.max - s) * per < 34 ? "" : tickText(s, step); });
          } },
        { size: side, font: pixels, stroke: INK, gap: 6, space: 24, ticks: { show: false }, grid: { show: lines, stroke: PALE, width: 1 },
          splits: lines ? undefined : function () { return lanes.map(function (l, i) { return lanes.length - 0.5 - i; }); },
          values: lines ? function (u, v) { return v.map(function (x) { return minus(String(x)); }); }
            : function () { return lanes.map(function (l) { return l.label; }); } }
      ],
      series: [{}].concat(this.series(pane, level)),
      bands: lines && bands(pane, level).length ? [{ series: [2, 1], fill: BAND, dir: -1 }] : [],
      hooks: {
        drawClear: [function (u) { if (!lines) { self.lanes(u, pane, lanes); } }],
        setScale: [function (u, key) {
          if (key !== "x" || self.busy || !self.charts.length) { return; }
          var x = u.scales.x, t = self.t[self.level];
          if (x.min <= t[0] && x.max >= t[t.length - 1]) { self.view(self.spec.start, self.spec.end); return; }
          if (x.min !== self.min || x.max !== self.max) { self.view(x.min, x.max); }
        }],
        setCursor: [function (u) { self.tell(u.cursor.left < 0 ? null : u.cursor.idx); }]
      }
    };
  };

  Figure.prototype.series = function (pane, level) {
    if (pane.kind === "marks") { return [NOTHING]; }
    return names(pane, level).map(function (name, i) {
      var line = pane.lines[i - bands(pane, level).length], style = line ? report.styles[line.style] : null;
      if (pane.kind === "lanes") { return NOTHING; }
      if (!line) { return { stroke: "transparent", width: 0, points: { show: false } }; }
      return {
        stroke: "rgb(" + style[2] + "," + style[2] + "," + style[2] + ")",
        width: style[0],
        dash: style[1] ? style[1].split(" ").map(Number) : undefined,
        points: { show: false }
      };
    });
  };

  /* Lanes of shares, or of wet minutes; one minute stays at least two pixels wide. */
  Figure.prototype.lanes = function (u, pane, lanes) {
    var c = u.ctx, b = u.bbox, tall = b.height / lanes.length, self = this, dpr = window.devicePixelRatio || 1;
    c.save();
    c.beginPath();
    c.rect(b.left, b.top - dpr, b.width, b.height + 2 * dpr);
    c.clip();
    lanes.forEach(function (lane, row) {
      var base = b.top + (row + 1) * tall - 2 * dpr;
      c.fillStyle = PALE;
      c.fillRect(b.left, base, b.width, dpr);
      if (pane.kind === "marks") {
        if (!lane.own.length && !lane.added.length) {
          c.fillStyle = "#555";
          c.font = "italic " + 12 * dpr + "px " + getComputedStyle(document.body).fontFamily;
          c.textAlign = "left";
          c.textBaseline = "alphabetic";
          c.fillText("none", b.left + 6 * dpr, base - 3 * dpr);
        }
        self.marks(u, lane.own, base, 6 * dpr, false);
        self.marks(u, lane.added, base, tall - 5 * dpr, true);
        return;
      }
      var level = self.spec.levels[self.level], shares = level.columns[lane.column];
      c.fillStyle = "#6b6b6b";
      shares[1].forEach(function (share, i) {
        if (!(share > 0)) { return; }
        var left = u.valToPos(level.t0 + i * level.step, "x", true);
        var right = u.valToPos(level.t0 + (i + 1) * level.step, "x", true);
        if (right < b.left || left > b.left + b.width) { return; }
        var up = (tall - 5 * dpr) * share / shares[0] / 100;
        left = Math.round(left);
        c.fillRect(left, base - up, Math.max(Math.round(right) - left, 1), up);
      });
    });
    c.restore();
  };

  Figure.prototype.marks = function (u, gaps, base, tall, filled) {
    var c = u.ctx, s = this.spec, dpr = window.devicePixelRatio || 1;
    spans(gaps).forEach(function (run) {
      var left = u.valToPos(s.origin + run[0] * s.dt, "x", true);
      var right = u.valToPos(s.origin + (run[0] + run[1]) * s.dt, "x", true);
      var wide = Math.max(right - left, 2 * dpr);
      if (filled) {
        c.fillStyle = "#000";
        c.fillRect(left, base - tall, wide, tall);
      } else {
        c.strokeStyle = "#000";
        c.lineWidth = dpr;
        c.strokeRect(left, base - tall, wide, tall);
      }
    });
  };

  function start() {
    document.documentElement.classList.add("script");
    var figures = Array.prototype.map.call(document.querySelectorAll("figure[data-figure]"), function (element) {
      return new Figure(element, report.figures[element.dataset.figure]);
    });
    var wait = 0;
    window.addEventListener("resize", function () {
      clearTimeout(wait);
      wait = setTimeout(function () {
        figures.forEach(function (figure) {
          figure.charts.forEach(function (chart) {
            var place = chart.root.parentNode;
            if (place.clientWidth > 0) { chart.setSize({ width: Math.max(place.clientWidth, 200), height: chart.height }); }
          });
        });
      }, 100);
    });
  }

  try {
    start();
  } catch (error) {
    document.documentElement.classList.remove("script"); /* the static drawings come back */
    throw error;
  }
}());
