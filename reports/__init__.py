"""Values to paper: sheets of a summary or of entries, written as workbook, CSV and PDF.

``sheet`` the values · ``summary`` a period's report by its form · ``entries`` a list of entries ·
``xlsx`` ``csv_file`` ``pdf`` the writers. The writers load their libraries when they are called.
"""
