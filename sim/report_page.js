// Draws the charts of the report from the run's data, and lets them be zoomed together. Without it the page still has every table.
(function () {
  'use strict';
  var run = JSON.parse(document.getElementById('run').textContent);
  var dark = window.matchMedia('(prefers-color-scheme: dark)');
  // Six lines at most differ by dash and width first, by colour second. Contrast with the paper is above 4.5 in both schemes.
  var inks = {
    light: ['#9c2f10', '#1b5a96', '#2d6a2f', '#76317f', '#7a5200', '#3f4a54', '#00626b', '#8c1d4f'],
    dark: ['#ff9f7a', '#86bdf5', '#93d68f', '#dfa3ea', '#e6bf6a', '#c3ccd4', '#6fd6df', '#ff9cc4']
  };
  var dashes = {
    process_value: [null, [14, 3], [9, 3, 2, 3, 2, 3], [18, 3, 6, 3]],
    set_point: [[6, 4], [3, 3], [6, 4, 2, 4], [10, 6]],
    truth: [[2, 3], [8, 3, 2, 3], [12, 4, 2, 4, 2, 4], [1, 4], [4, 6]],
    other: [[10, 4]]
  };
  var widths = { process_value: 2, set_point: 1.3, truth: 1.3, other: 1.6 };

  function two(n) { return (n < 10 ? '0' : '') + n; }
  function clock(s) {
    var sign = s < 0 ? '-' : '';
    var whole = Math.floor(Math.abs(s) + 1e-6), h = Math.floor(whole / 3600), m = Math.floor(whole / 60) % 60;
    return sign + h + ':' + two(m) + ':' + two(whole % 60);
  }
  var steps = [0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400, 172800, 604800];
  function ticker(from, to, pixels) {
    var wanted = (to - from) / Math.max(2, pixels / 90), step = steps[steps.length - 1];
    for (var i = steps.length - 1; i >= 0; --i) if (steps[i] >= wanted) step = steps[i];
    var ticks = [];
    for (var k = Math.ceil(from / step); k * step <= to; ++k) {
      var t = k * step, text = clock(t);
      if (step >= 60) text = text.slice(0, -3);
      else if (step < 1) text += (Math.abs(t) % 1).toFixed(1).slice(1);
      ticks.push({ v: t, label: text });
    }
    return ticks;
  }

  function style(name) { return getComputedStyle(document.documentElement).getPropertyValue(name).trim(); }

  // Segments as shaded bands with their names above, phases of the atmosphere below, marks of alarms and the like between.
  function underlay(canvas, area, graph) {
    canvas.save();
    canvas.beginPath();
    canvas.rect(area.x, area.y, area.w, area.h);
    canvas.clip();
    var ink = style('--soft'), band = style('--band'), mark = style('--mark'), rule = style('--rule');
    canvas.font = '11px system-ui, "DejaVu Sans", sans-serif';
    run.segments.forEach(function (segment, i) {
      var left = graph.toDomXCoord(segment.from), right = graph.toDomXCoord(segment.to);
      if (right < area.x || left > area.x + area.w) return;
      if (i % 2 === 0) { canvas.fillStyle = band; canvas.fillRect(left, area.y, right - left, area.h); }
      name(canvas, area, left, right, segment.name, String(i + 1), area.y + 11, ink);
    });
    run.phases.forEach(function (phase) {
      var left = graph.toDomXCoord(phase.from), right = graph.toDomXCoord(phase.to);
      if (right < area.x || left > area.x + area.w) return;
      canvas.fillStyle = rule;
      canvas.fillRect(Math.round(left), area.y + area.h - 15, 1, 15);
      canvas.font = 'italic 11px system-ui, "DejaVu Sans", sans-serif';
      name(canvas, area, left, right, phase.name.replace('_', ' '), '', area.y + area.h - 4, ink);
      canvas.font = '11px system-ui, "DejaVu Sans", sans-serif';
    });
    canvas.strokeStyle = mark;
    canvas.fillStyle = mark;
    canvas.setLineDash([2, 2]);
    var taken = -100;
    run.marks.forEach(function (one) {
      var x = Math.round(graph.toDomXCoord(one.t)) + 0.5;
      if (x < area.x || x > area.x + area.w) return;
      canvas.beginPath();
      canvas.moveTo(x, area.y + 15);
      canvas.lineTo(x, area.y + area.h - 15);
      canvas.stroke();
      if (x - taken < 11) return;
      taken = x;
      canvas.fillText(one.letter, Math.min(x + 2, area.x + area.w - 9), area.y + 25);
    });
    canvas.restore();
  }
  function name(canvas, area, left, right, text, short, y, ink) {
    var from = Math.max(left, area.x), to = Math.min(right, area.x + area.w), room = to - from - 6;
    canvas.fillStyle = ink;
    var shown = text;
    while (shown.length > 3 && canvas.measureText(shown).width > room) shown = shown.slice(0, -2) + '\u2026';
    if (canvas.measureText(shown).width <= room && (shown === text || shown.length > 4)) canvas.fillText(shown, from + 3, y);
    else if (short && canvas.measureText(short).width <= room + 4) canvas.fillText(short, from + 2, y);
  }

  function rows(chart) {
    var times = [], width = run.width, i, k;
    for (i = 0; i < run.index.length; ++i) times.push(run.index[i] * width, (run.index[i] + 0.5) * width);
    if (times.length) times[times.length - 1] = Math.min(times[times.length - 1], run.end);
    var data = new Array(times.length);
    for (i = 0; i < times.length; ++i) {
      var row = [times[i]];
      for (k = 0; k < chart.lines.length; ++k) {
        var value = run.columns[chart.lines[k].column][i];
        row.push(!chart.log ? value : value > 0 ? Math.max(value, chart.low) : null);    // nothing at or below 0 has a logarithm
      }
      data[i] = row;
    }
    return data;
  }

  // The range that shows the data, no wider than the chart's own where it has one.
  function range(chart, data) {
    var low = Infinity, high = -Infinity;
    data.forEach(function (row) {
      for (var k = 1; k < row.length; ++k) if (row[k] !== null) { low = Math.min(low, row[k]); high = Math.max(high, row[k]); }
    });
    if (!(low <= high)) return [0, 1];
    if (chart.high > chart.low) { low = Math.max(low, chart.low); high = Math.min(high, chart.high); }
    if (chart.log) {
      low = Math.pow(10, Math.floor(Math.log10(low)) - 0.25);
      high = Math.pow(10, Math.ceil(Math.log10(Math.max(high, low * 10))) + 0.25);
      return [low, high];
    }
    var pad = Math.max(high - low, Math.abs(high) * 1e-3, 1e-3) * 0.14;
    return [low - pad, high + pad];
  }
  function decades(from, to) {
    var ticks = [];
    for (var d = Math.ceil(Math.log10(from)); d <= Math.floor(Math.log10(to)); ++d) {
      var text = d >= 6 || d < -3 ? '1e' + d : d < 0 ? Math.pow(10, d).toFixed(-d) : String(Math.pow(10, d)).replace(/\B(?=(\d{3})+$)/g, '\u2009');
      ticks.push({ v: Math.pow(10, d), label: text });
    }
    return ticks;
  }

  function appearance(chart) {
    var count = {}, colour = inks[dark.matches ? 'dark' : 'light'], series = {}, colours = [], pair = {};
    var measured = chart.lines.some(function (line) { return line.role === 'process_value'; });
    chart.lines.forEach(function (line, i) {
      var role = !measured && i === 0 ? 'process_value' : line.role;    // nothing to set the truth apart from: a plain line
      var nth = count[role] = (count[role] || 0) + 1;
      var choice = dashes[role] || dashes.other;
      var base = line.label.replace(' set point', '');      // a set point has the colour of what it belongs to
      var ink = line.role === 'set_point' && pair[base] !== undefined ? pair[base] : i % colour.length;
      pair[base] = ink;
      colours.push(colour[ink]);
      series[line.label] = { strokePattern: choice[(nth - 1) % choice.length] || undefined, strokeWidth: widths[role] || 1.5 };
    });
    return { series: series, colors: colours };
  }

  // A piece of the line as the chart draws it.
  function sample(chart, label) {
    var look = appearance(chart), series = look.series[label], ink = look.colors[graphColumn(chart, label)];
    return '<svg width="38" height="8" aria-hidden="true"><path d="M0 4H38" fill="none" stroke="' + ink + '" stroke-width="' + series.strokeWidth +
      '" stroke-dasharray="' + (series.strokePattern || []).join(' ') + '"/></svg>';
  }
  function legend(chart) {
    return function (data) {
      return (data.x === undefined ? '' : '<span class="entry"><b>' + clock(data.x) + '</b></span>') + data.series.map(function (one) {
        return '<span class="entry">' + sample(chart, one.label) + ' ' + one.labelHTML +
          (data.x === undefined || one.yHTML === undefined ? '' : ' <b>' + one.yHTML + '</b>') + '</span>';
      }).join('');
    };
  }

  function draw(chart) {
    var place = document.getElementById('chart-' + chart.key);
    var data = rows(chart), look = appearance(chart);
    var graph = new Dygraph(place, data, {
      labels: ['time'].concat(chart.lines.map(function (line) { return line.label; })),
      labelsDiv: document.getElementById('legend-' + chart.key),
      legend: 'always', legendFormatter: legend(chart),
      series: look.series, colors: look.colors,
      valueRange: range(chart, data), dateWindow: [0, run.end],
      connectSeparatedPoints: !run.gaps, highlightCircleSize: 3, animatedZooms: false,
      gridLineColor: style('--rule'), axisLineColor: style('--soft'), gridLineWidth: 0.4,
      underlayCallback: underlay,
      axes: {
        x: { ticker: ticker, valueFormatter: clock, axisLabelWidth: 60 },
        y: { axisLabelWidth: 62, digitsAfterDecimal: 6, logscale: chart.log, ticker: chart.log ? decades : Dygraph.numericTicks,
             valueFormatter: function (value, options, series) { return reading(chart.lines[graphColumn(chart, series)], value); } }
      }
    });
    describe(place, chart);
    return graph;
  }
  // A value as it is drawn, and as it was recorded where that is another unit.
  function reading(line, value) {
    var text = value.toFixed(line.decimals), own = line.recorded;
    return own ? text + ' (' + ((value - own.offset) / own.factor).toFixed(own.decimals) + '\u00a0' + own.unit + ')' : text;
  }
  function graphColumn(chart, label) {
    for (var i = 0; i < chart.lines.length; ++i) if (chart.lines[i].label === label) return i;
    return 0;
  }
  function describe(place, chart) {
    place.querySelectorAll('canvas').forEach(function (canvas, i) {
      if (i === 0) {
        canvas.setAttribute('role', 'img');
        canvas.setAttribute('aria-label', chart.title + ' over time: ' + chart.lines.map(function (line) { return line.label; }).join(', ') +
          '. The figures are in the table below.');
      } else {
        canvas.setAttribute('aria-hidden', 'true');
      }
    });
  }

  if (!run.index.length) return;
  var graphs = run.charts.map(draw);
  if (graphs.length > 1) Dygraph.synchronize(graphs, { zoom: true, selection: true, range: false });

  function show(from, to) { graphs[0].updateOptions({ dateWindow: [from, to] }); }
  document.getElementById('zoom-all').addEventListener('click', function () {
    document.getElementById('zoom-to').value = '';
    show(0, run.end);
  });
  document.getElementById('zoom-to').addEventListener('change', function (event) {
    if (event.target.value === '') return show(0, run.end);
    var segment = run.segments[Number(event.target.value)], edge = Math.max((segment.to - segment.from) * 0.03, 1);
    show(segment.from - edge, segment.to + edge);
  });
  function recolour() {
    graphs.forEach(function (graph, i) {
      var look = appearance(run.charts[i]);
      graph.updateOptions({ series: look.series, colors: look.colors, gridLineColor: style('--rule'), axisLineColor: style('--soft') });
    });
  }
  if (dark.addEventListener) dark.addEventListener('change', recolour);
  // what is folded when the page opens has no size to draw in
  window.addEventListener('beforeprint', function () { graphs.forEach(function (graph) { graph.resize(); }); });
}());
