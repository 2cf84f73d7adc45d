from growth.exercises.all_questions import questions as questions
from growth.exercises.closed_form import half_as_many_leave as half_as_many_leave
from growth.exercises.closed_form import likely_scenario as likely_scenario
from growth.exercises.closed_form import twice_as_many_join as twice_as_many_join
from growth.exercises.closed_form import with_spend as with_spend
from growth.exercises.exercise import Exercise as Exercise
