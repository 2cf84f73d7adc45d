// Starts the calculator of a page, whose data has the controls as a table: their names, then a row for each.
import { mount } from "./calculator.js";

const pageCalculator = document.getElementById("calculator");
if (pageCalculator) {
  const data = JSON.parse(document.getElementById("calculator-data").textContent);
  const [names, ...rows] = data.controls;
  const controls = rows.map((row) => Object.fromEntries(names.map((name, i) => [name, row[i]])));
  pageCalculator.calculator = mount(pageCalculator, { ...data, controls }, { workedPlace: document.querySelector(".worked") });
}
