"""Every document and every output file: results in, files out.

Knows formats of numbers, units, sentences, the palette and the one description of each chart. Gives summary.json,
history.json and the tables beside them, the report and the report on the outage records as pages and for a word
processor, the workbook, and the work pack. Computes no result of its own; no other room writes a document.
"""
