from growth.spreadsheet.workbook import spreadsheet as spreadsheet
from growth.spreadsheet.workbook import write_spreadsheet as write_spreadsheet
