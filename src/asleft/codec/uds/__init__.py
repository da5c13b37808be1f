"""UDS (ISO 14229-1): one module per service, each with two pure functions: make the request, read the answer.

Readers take the positive answer (see ``codec.reply``) and raise nothing but ``AnswerMalformed``.
Source for all: ISO 14229-1:2020, clauses 9 to 15; recalled, bytes checked against independent implementations.
"""
