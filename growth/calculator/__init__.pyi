from growth.calculator.certainty import how_sure as how_sure
from growth.calculator.certainty import whole_answer as whole_answer
from growth.calculator.what_it_takes import takes as takes
from growth.calculator.widget import Calculator as Calculator
from growth.calculator.words import answer as answer
