"""The record's printable face: events to PDF, one page for the customer and the details behind it.

Pure but for the typesetter (``typeset``): no clock, no file, no network; the same events give the same bytes. It sees
the events and nothing else, so it cannot claim what the record does not hold.

Example::

    from asleft.report.typeset import typeset

    pdf = typeset(journal.events(), head, generated="2031-04-17T12:00:00Z", record=stored_lines)
"""
