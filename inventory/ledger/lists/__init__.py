"""Vehicle lists, in and out: CSV files and workbooks.

`files`, `workbooks`, `cells`, `columns`, `neutral` and `writing` are pure and know no Django:
file -> rows, heading -> column, cell -> value, and back. `facts` says what a vehicle's facts are
as cells, `incoming` what a list would do to the record and does it, `outgoing` what leaves,
`shelf` keeps an uploaded file between two pages, `views` are the pages.
"""
