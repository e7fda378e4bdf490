"""Files of a campaign: folder, workbook, tables of text."""
