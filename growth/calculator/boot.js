// Starts the calculator of a page.
import { mount } from "./calculator.js";

const pageCalculator = document.getElementById("calculator");
if (pageCalculator) pageCalculator.calculator = mount(pageCalculator, JSON.parse(document.getElementById("calculator-data").textContent), { workedPlace: document.querySelector(".worked") });
