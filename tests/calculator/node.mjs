// Reads a JSON list of questions from standard input, writes the list of answers.
import { readFileSync } from "node:fs";
import { answer, band } from "./answer.mjs";

process.stdout.write(JSON.stringify(JSON.parse(readFileSync(0, "utf8")).map((question) => ("bounds" in question ? band(question) : answer(question)))));
