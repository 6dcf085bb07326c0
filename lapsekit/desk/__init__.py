"""The desk: local web pages to set a season up and to look after it.

`app.py` puts it together; each page is a module with `ROUTES`, its template in ``templates/``, its
script in ``static/``. A page that changes a text of the season does so through
:class:`lapsekit.edits.book.Book`: the files stay the ones that a hand edits.
"""
