"use strict";
// Draws the plots of the report from the block of data in the page. It asks for nothing else:
// the page's own policy forbids every request.
(() => {
  const plots = JSON.parse(document.getElementById("plots").textContent);
  const dashes = { dashed: [8, 4], dotted: [2, 3] };
  const ends = {};
  let drawn = [];

  // Little-endian 32-bit floats; what is not a number breaks a line.
  function numbers(text) {
    const bytes = Uint8Array.from(atob(text), (mark) => mark.charCodeAt(0));
    const view = new DataView(bytes.buffer);
    return Array.from({ length: bytes.length / 4 }, (_, row) => {
      const value = view.getFloat32(4 * row, true);
      return Number.isNaN(value) ? null : value;
    });
  }

  function colour(name) {
    return getComputedStyle(document.documentElement).getPropertyValue("--" + name).trim();
  }

  function font(size) {
    return size + "px " + getComputedStyle(document.body).fontFamily;
  }

  // The value nearest to the cursor: series that were laid over one another have holes.
  function nearest(u, series, row) {
    const values = u.data[series];
    for (let away = 0; away < 400; away++) {
      if (values[row - away] != null) return row - away;
      if (values[row + away] != null) return row + away;
    }
    return row;
  }

  function seriesOf(each) {
    const stroke = colour(each.ink);
    const common = {
      label: each.name,
      stroke,
      width: 1.4,
      value: (_, value) => (value == null ? "--" : String(Number(value.toPrecision(4)))),
    };
    if (each.style === "dots" || each.style === "rings") {
      const fill = each.style === "dots" ? stroke : colour("paper");
      const points = { show: true, size: each.style === "dots" ? 4 : 6, width: 1.2, stroke, fill };
      return { ...common, paths: () => null, points };
    }
    if (each.style === "arrows") return { ...common, paths: () => null, points: { show: false } };
    return { ...common, dash: dashes[each.style], points: { show: false } };
  }

  function drawArrows(u, series) {
    const size = 5 * devicePixelRatio;
    u.ctx.fillStyle = colour(u.spec.series[series - 1].ink);
    u.data[series].forEach((value, row) => {
      const x = u.data[0][row];
      if (value == null || x < u.scales.x.min || x > u.scales.x.max) return;
      const left = u.valToPos(x, "x", true);
      const top = Math.max(u.valToPos(value, "y", true), u.bbox.top + 1.6 * size);
      u.ctx.beginPath();
      u.ctx.moveTo(left, top - 1.6 * size);
      u.ctx.lineTo(left - size, top);
      u.ctx.lineTo(left + size, top);
      u.ctx.fill();
    });
  }

  // Text with a rim in the paper's colour, readable over curves.
  function write(ctx, text, left, top) {
    ctx.save();
    ctx.setLineDash([]);
    ctx.lineWidth = 4 * devicePixelRatio;
    ctx.lineJoin = "round";
    ctx.strokeStyle = colour("paper");
    ctx.strokeText(text, left, top);
    ctx.fillText(text, left, top);
    ctx.restore();
  }

  function drawStrokes(u) {
    const { ctx, bbox, spec } = u;
    ctx.save();
    ctx.font = font(11 * devicePixelRatio);
    ctx.lineWidth = devicePixelRatio;
    for (const level of spec.levels) {
      if (level.at < u.scales.y.min || level.at > u.scales.y.max) continue;
      const top = u.valToPos(level.at, "y", true);
      ctx.strokeStyle = ctx.fillStyle = colour(level.ink);
      ctx.setLineDash([6 * devicePixelRatio, 4 * devicePixelRatio]);
      ctx.beginPath();
      ctx.moveTo(bbox.left, top);
      ctx.lineTo(bbox.left + bbox.width, top);
      ctx.stroke();
      ctx.textAlign = "right";
      ctx.textBaseline = "bottom";
      write(ctx, level.name, bbox.left + bbox.width - 4, top - 2);
    }
    ctx.setLineDash([]);
    spec.moments.forEach((moment, place) => {
      if (moment.at < u.scales.x.min || moment.at > u.scales.x.max) return;
      const left = u.valToPos(moment.at, "x", true);
      ctx.strokeStyle = ctx.fillStyle = colour(moment.ink);
      ctx.beginPath();
      ctx.moveTo(left, bbox.top);
      ctx.lineTo(left, bbox.top + bbox.height);
      ctx.stroke();
      const beyond = left > bbox.left + 0.7 * bbox.width;
      ctx.textAlign = beyond ? "right" : "left";
      ctx.textBaseline = "top";
      const row = (place % 3) * 14 * devicePixelRatio;
      write(ctx, moment.name, left + (beyond ? -4 : 4) * devicePixelRatio, bbox.top + 2 + row);
    });
    ctx.restore();
    spec.series.forEach((each, place) => each.style === "arrows" && drawArrows(u, place + 1));
  }

  function axisOf(extra) {
    return {
      stroke: colour("quiet"),
      font: font(12),
      labelFont: font(12),
      grid: { stroke: colour("grid"), width: 1 },
      ticks: { stroke: colour("grid"), width: 1, size: 4 },
      ...extra,
    };
  }

  function yRange(spec) {
    return (_, low, high) => {
      if (low == null) return [0, 1];
      for (const level of spec.levels) {
        low = Math.min(low, level.at);
        high = Math.max(high, level.at);
      }
      const room = 0.08 * (high - low || 1);
      return [spec.fromZero ? Math.min(0, low) : low - room, high + room];
    };
  }

  function draw(spec) {
    const place = document.getElementById(spec.key);
    const parts = spec.series.map((each) => [numbers(each.x), numbers(each.y)]);
    // Plots that zoom together begin and end together.
    const [low, high] = ends[spec.joined] ?? [Infinity, -Infinity];
    for (const [x, y] of parts) {
      if (low < x[0]) { x.unshift(low); y.unshift(null); }
      if (high > x[x.length - 1]) { x.push(high); y.push(null); }
    }
    const data = parts.length === 1 ? parts[0] : uPlot.join(parts);
    const options = {
      width: Math.max(place.clientWidth, 240),
      height: spec.height,
      legend: { live: true },
      cursor: {
        y: false,
        points: { size: 6 },
        dataIdx: nearest,
        drag: { x: true, y: false },
        ...(spec.joined ? { sync: { key: spec.joined, setSeries: false } } : {}),
      },
      scales: { x: { time: false }, y: { range: yRange(spec) } },
      axes: [
        axisOf({ label: spec.x, labelSize: 18, size: 34 }),
        axisOf({ size: 52, space: 24 }),
      ],
      series: [
        { label: "at", value: (_, value) => (value == null ? "--" : value.toFixed(2)) },
        ...spec.series.map(seriesOf),
      ],
      hooks: { init: [(u) => { u.spec = spec; }], draw: [drawStrokes] },
    };
    return new uPlot(options, data, place);
  }

  function drawAll() {
    drawn.forEach((plot) => plot.destroy());
    drawn = plots.map(draw);
  }

  for (const spec of plots.filter((each) => each.joined)) {
    for (const each of spec.series) {
      const x = numbers(each.x);
      const [low, high] = ends[spec.joined] ?? [Infinity, -Infinity];
      ends[spec.joined] = [Math.min(low, x[0]), Math.max(high, x[x.length - 1])];
    }
  }
  drawAll();
  document.documentElement.dataset.drawn = String(drawn.length);
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", drawAll);
  addEventListener("beforeprint", () => {
    document.documentElement.dataset.printed = "yes";
    // On paper nothing can be opened.
    document.querySelectorAll("details").forEach((each) => { each.open = true; });
    drawAll();
  });
  addEventListener("afterprint", () => {
    delete document.documentElement.dataset.printed;
    drawAll();
  });
  let waiting = 0;
  addEventListener("resize", () => {
    if (document.documentElement.dataset.printed) return;
    clearTimeout(waiting);
    waiting = setTimeout(() => drawn.forEach((plot) => {
      const width = Math.max(plot.root.parentElement.clientWidth, 240);
      plot.setSize({ width, height: plot.height });
    }), 100);
  });
})();
