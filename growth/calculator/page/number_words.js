// Numbers and months as the reader sees and types them, by the rules of the page's locale; number_words.py writes the same.
import { abs, max, ofPlural, said } from "./tools.js";

const CLOSE = 0.005; // a level this near to an amount in the same sentence is written as that amount

export const LONGEST = 120; // months a forecast may cover

// The calendar months before month 1 (index 0), of month 1, 2, ...; `names` hold a place for the year.
export function monthLabels(first, names) {
  const [year, month] = first.split("-").map(Number);
  const start = year * 12 + month - 2;
  return Array.from({ length: LONGEST + 1 }, (_, i) => names[(start + i) % 12].replace("{y}", Math.floor((start + i) / 12)));
}

// So many months, in words; `forms` by the plural category of the language (CLDR), "other" where it has none of its own.
export const monthCount = (count, forms, show) => said(ofPlural(forms, show.plural(count)), { n: show.number(count) });

// Numbers as the reader sees them, by the rules of the locale. minor: decimals of the currency's minor unit.
export function formatter(locale, currency, minor) {
  const formats = new Map();
  const format = (key, options, tongue = locale) => {
    if (!formats.has(key)) formats.set(key, new Intl.NumberFormat(tongue, { useGrouping: true, ...options }));
    return formats.get(key);
  };
  const plurals = new Intl.PluralRules(locale, { maximumFractionDigits: 6 });
  const symbol = new Intl.NumberFormat(locale, { style: "currency", currency }).formatToParts(0).find(({ type }) => type === "currency").value;
  const sure = (value) => Number(value.toPrecision(12)); // rounding starts from digits that two engines agree on
  const positive = (value, decimals) => (abs(value) * 10 ** decimals < 0.5 ? 0 : value); // no "-0"
  const write = (key, options, value, decimals) =>
    format(key, options).format(positive(sure(value), decimals)).replaceAll("\u202f", "\u00a0"); // as in number_words.py
  const money = (value, decimals = abs(value) >= 100 || value === 0 ? 0 : minor) =>
    write(
      `money${decimals}`,
      { style: "currency", currency, minimumFractionDigits: decimals, maximumFractionDigits: decimals },
      value,
      decimals,
    );
  // The fewest decimals with which a number that is not 0 is not written as 0.
  const shown = (value, least, most) => {
    let count = least;
    while (value && count < most && positive(sure(value), count) === 0) count++;
    return count;
  };
  // To two significant digits, or as many as keep its order with the amounts named beside it.
  const near = (value, named = []) => {
    const twin = named.find((amount) => abs(value - amount) <= CLOSE * max(value, amount));
    if (twin !== undefined) return twin;
    if (!value) return 0;
    let level = value;
    for (const count of [2, 3, 4]) {
      const digits = { maximumSignificantDigits: count, useGrouping: false };
      level = Number(format(`near${count}`, digits, "en").format(sure(value)));
      if (named.every((amount) => (level - amount) * (value - amount) > 0)) break;
    }
    return level;
  };
  const tenths = (value) => write("tenths", { minimumFractionDigits: 1, maximumFractionDigits: 1 }, value, 1);
  const parts = new Intl.NumberFormat(locale).formatToParts(-12345678.9);
  const [group, point] = ["group", "decimal"].map((type) => parts.find((part) => part.type === type)?.value ?? "");
  return {
    minor,
    money,
    cents: (value) => money(value, minor),
    toMinor: (value) => Number(format("minor", { maximumFractionDigits: minor, useGrouping: false }, "en").format(sure(value))),
    number(value) {
      const decimals = shown(value, 1, 4);
      return write(`number${decimals}`, { maximumFractionDigits: decimals }, value, decimals);
    },
    percent(value) {
      const decimals = shown(value, 4, 7);
      return write(`percent${decimals}`, { style: "percent", maximumFractionDigits: decimals - 2 }, value, decimals);
    },
    // As a field shows it; beside the currency, in what stands around it, a part of its unit has all the decimals of one.
    plain(value, around = "") {
      const least = around.includes(symbol) && !Number.isInteger(value) ? minor : 0;
      return format(`plain${least}`, { minimumFractionDigits: least, maximumFractionDigits: 6 }).format(value).replaceAll("\u202f", "\u00a0");
    },
    // The plural category of a count as `number` writes it, or with so many decimals.
    plural(count, decimals = shown(count, 1, 4)) {
      const digits = { maximumFractionDigits: decimals, useGrouping: false };
      return plurals.select(Number(format(`plural${decimals}`, digits, "en").format(sure(abs(count)))));
    },
    group,
    point,
    near,
    roughly(value, named = []) {
      const level = near(value, named);
      if (named.includes(level)) return money(level);
      return money(level, level > 0 && level < 10 ? minor : 0);
    },
    // The ends of a range of amounts with no more digits than its width allows, as in number_words.py.
    between(low, high) {
      const least = 10 ** -minor;
      const unit = high > low ? max(10 ** Math.floor(Math.log10((high - low) / 4)), least) : least;
      return [low, high].map((end) => money(Math.round(sure(end / unit)) * unit, unit >= 1 ? 0 : minor));
    },
    // A column of a table, with as many decimals in every row.
    column(values, kind) {
      if (kind === "number") return Array.from(values, tenths);
      const decimals = values.some((value) => abs(value) >= 100) ? 0 : minor;
      return Array.from(values, (value) => money(value, decimals));
    },
  };
}

// A number as people type it by the rules of their language: 4.5, 4.5%, 1,160 and 1 160 (thousands), or 4,5 and 1.160 in
// German; NaN for anything else, such as the other sign for decimals. `most` is the largest value that is likely: up to it
// the sign for decimals before three digits may stand for thousands too, and `either` holds both readings.
export function typedNumber(text, show, most = 0) {
  const [group, point] = [show.group, show.point].map((sign) => (/\s/.test(sign) ? "\\s" : `\\${sign}`));
  const bare = text.trim().replace(/^\p{Sc}\s*|\s*[%\p{Sc}]$/gu, "");
  const grouped = [group, "\\s", "['\u2019]"].find((sign) => new RegExp(`^[+-]?[1-9]\\d{0,2}(${sign}\\d{3})+(${point}\\d*)?$`).test(bare));
  const plain = grouped ? bare.replace(new RegExp(grouped, "g"), "") : bare;
  if (!new RegExp(`^[+-]?(\\d+${point}?\\d*|${point}\\d+)(e[+-]?\\d+)?$`, "i").test(plain)) return { value: NaN };
  const value = Number(plain.replace(show.point, "."));
  const thousands = new RegExp(`^[+-]?[1-9]\\d{0,2}${point}\\d{3}$`).test(plain) && 1000 * value <= most;
  if (!thousands) return { value };
  const short = show.plain(value);
  return { value: NaN, either: { grouped: show.plain(1000 * value), decimal: typedNumber(short, show, most).either ? `${short}0` : short } };
}
