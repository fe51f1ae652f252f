// The chosen plan: circuits with conductor, fuse, drop and voltages; sources; bill with totals.

import { sizeWords, wordsOf } from "./choices.js";
import { el } from "./dom.js";
import { figure, foldedUnder, pairs, table } from "./tables.js";
import { circuitVerdict, unitWords } from "./words.js";

/** Return the circuits of a plan. */
export function circuitsOf(plan) {
  const states = new Map(plan.network.circuits.map((state) => [state.circuit, state]));
  const rows = plan.circuits.map((circuit) => ({ ...circuit, state: states.get(circuit.key) ?? null }));
  const state = (name, decimals) => (row) => figure(row.state?.[name], decimals);
  return [
    plan.network.state === "solved" ? null : el("p", { class: "warning" }, networkWords(plan.network)),
    table(
      "Conductors and fuses",
      [
        { heading: "Circuit", cell: (row) => row.description },
        { heading: "Conductor", cell: conductorWords },
        { heading: "Length", unit: "m", isFigure: true, cell: (row) => figure(row.route_length_m, 2) },
        { heading: "Fuse type", cell: (row) => (row.fuse ? wordsOf(row.fuse.fuse_type) : "none") },
        { heading: "Fuse", unit: "A", isFigure: true, cell: (row) => ratingOf(row.fuse) },
      ],
      rows,
    ),
    table(
      "Everything on at once",
      [
        { heading: "Circuit", cell: (row) => row.description },
        { heading: "Current", unit: "A", isFigure: true, cell: state("current_a", 1) },
        { heading: "Fed with", unit: "V", isFigure: true, cell: state("feeding_voltage_v", 2) },
        { heading: "At load", unit: "V", isFigure: true, cell: state("load_voltage_v", 2) },
        { heading: "Drop", unit: "V", isFigure: true, cell: state("voltage_drop_v", 3) },
        { heading: "Drop", unit: "%", isFigure: true, cell: state("voltage_drop_percent", 1) },
        { heading: "Conductor", unit: "°C", isFigure: true, cell: state("conductor_temperature_c", 0) },
        { heading: "Loss", unit: "W", isFigure: true, cell: state("loss_w", 1) },
      ],
      rows,
    ),
    reasonsOf(plan),
    sourcesOf(plan),
  ];
}

function conductorWords(row) {
  if (!row.conductor) return circuitVerdict(row.verdict);
  const { size, series, material, insulation } = row.conductor;
  const named = series === "awg" || series === "metric" ? sizeWords(size) : `${sizeWords(size)} (${wordsOf(series)})`;
  const more = `${wordsOf(material)}, ${wordsOf(insulation)}`;
  return [named, el("small", {}, ` ${more}`)];
}

function ratingOf(fuse) {
  if (!fuse) return "–";
  return Number.isInteger(fuse.rated_current_a) ? String(fuse.rated_current_a) : figure(fuse.rated_current_a, 1);
}

function networkWords(network) {
  return network.state === "no_operating_point"
    ? "The loads ask for more than the wiring can bring: there is no operating point."
    : "The currents of the network did not settle.";
}

function reasonsOf(plan) {
  return foldedUnder(
    "Why these conductors and fuses",
    "reasons",
    pairs(
      plan.circuits.map((circuit) => [
        circuit.description,
        [
          el("p", {}, `Conductor: ${circuit.conductor_reason}.`),
          circuit.fuse_reason ? el("p", {}, `Fuse: ${circuit.fuse_reason}.`) : null,
        ].filter(Boolean),
      ]),
    ),
  );
}

function sourcesOf(plan) {
  const states = new Map(plan.network.sources.map((state) => [state.source, state]));
  const verdict = {
    within_limit: "within its limit",
    above_limit: "above its limit",
    no_limit_stated: "no limit stated",
  };
  return table(
    "Power sources",
    [
      { heading: "Source", cell: (source) => source.description },
      { heading: "Current", unit: "A", isFigure: true, cell: (source) => figure(source.load_current_a, 1) },
      { heading: "Limit", unit: "A", isFigure: true, cell: (source) => figure(source.greatest_current_a, 0) },
      {
        heading: "At its terminals",
        unit: "V",
        isFigure: true,
        cell: (source) => figure(states.get(source.key)?.terminal_voltage_v, 2),
      },
      { heading: "Verdict", cell: (source) => verdict[source.verdict] ?? source.verdict },
    ],
    plan.power_sources,
  );
}

/** Return the bill of a plan. */
export function billOf(plan, answer) {
  const { bill } = plan;
  const basis = answer.prices_include_tax ? "Prices include taxes." : "Prices are without taxes.";
  return [
    el("p", {}, `${basis} Price book: ${answer.price_book.name}.`),
    unpricedOf(bill),
    table(
      "Lines of the bill",
      [
        { heading: "No.", isFigure: true, cell: (line) => String(line.number) },
        {
          heading: "Description",
          isWords: true,
          cell: (line) => [
            line.description,
            el("small", {}, ` ${line.key}${line.in_stock === false ? ", not in stock" : ""}`),
          ],
        },
        { heading: "Quantity", isFigure: true, cell: (line) => line.quantity },
        { heading: "Unit", cell: (line) => unitWords(line.unit) },
        { heading: "Unit price", unit: answer.currency, isFigure: true, cell: (line) => line.unit_price },
        { heading: "Total", unit: answer.currency, isFigure: true, cell: (line) => line.total },
      ],
      bill.lines,
    ),
    table(
      "Totals",
      [
        { heading: "Sum", cell: (row) => row[0] },
        { heading: "Amount", unit: answer.currency, isFigure: true, cell: (row) => row[1] },
      ],
      totalsOf(bill),
    ),
  ].filter(Boolean);
}

function totalsOf(bill) {
  const rows = [
    ["Parts", bill.parts_total],
    [`Labour, ${hoursOf(bill.labour_duration)}`, bill.labour_total],
    ["Net total", bill.net_total],
    ...bill.taxes.map((tax) => [`${tax.name} ${tax.percent} % of ${tax.base}`, tax.amount]),
    ["Total", bill.total],
  ];
  if (bill.deposit) rows.push(["Deposit", bill.deposit], ["Balance due", bill.balance_due]);
  if (bill.cost) {
    const { cost_total: cost, margin, margin_percent: percent } = bill.cost;
    rows.push(["Cost", cost], [`Margin${percent ? `, ${percent} % of the net total` : ""}`, margin ?? "–"]);
  }
  return rows;
}

/** Return an ISO 8601 duration of hours, minutes and seconds in words. */
export function hoursOf(duration) {
  const parts = /^PT(?:(\d+)H)?(?:(\d+)M)?(?:([\d.]+)S)?$/.exec(duration);
  if (!parts) return duration;
  const [, hours, minutes, seconds] = parts;
  const said = [hours && `${hours} h`, minutes && `${minutes} min`, seconds && `${seconds} s`];
  return said.filter(Boolean).join(" ") || "0 h";
}

function unpricedOf(bill) {
  if (bill.unpriced.length === 0) return null;
  const rows = bill.unpriced.map((item) =>
    el("li", {}, `${item.description}: ${item.quantity} ${unitWords(item.unit)}. ${item.reason}`),
  );
  return el("div", { class: "warning" }, el("p", {}, "Not priced:"), el("ul", {}, rows));
}
