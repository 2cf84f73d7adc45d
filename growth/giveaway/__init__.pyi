from growth.giveaway import sections as sections
from growth.giveaway.brief import Giveaway as Giveaway
from growth.giveaway.brief import brief_data as brief_data
from growth.giveaway.placeholders import load_giveaway as load_giveaway
from growth.giveaway.publishing import publish as publish
