from growth.comparison import Comparison as Comparison
from growth.comparison import compare as compare
from growth.engine import Forecast as Forecast
from growth.engine import forecast as forecast
from growth.errors import GrowthError as GrowthError
from growth.errors import MeasureError as MeasureError
from growth.errors import PublishError as PublishError
from growth.errors import ScenarioError as ScenarioError
from growth.goals import levers as levers
from growth.goals import solve as solve
from growth.scenario import Scenario as Scenario
from growth.scenario.file import load_scenario as load_scenario
from growth.scenario.file import save_scenario as save_scenario
from growth.table import table_of_measures as table_of_measures
from growth.table import to_frame as to_frame
from growth.uncertainty import sample as sample
from growth.uncertainty import spread_of as spread_of

__version__: str
