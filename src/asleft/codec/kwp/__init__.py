"""KWP2000 (ISO 14230): frames of the K-line, and services as pure pairs: make the request, read the answer.

Readers take the positive answer (see ``codec.reply``) and raise nothing but ``AnswerMalformed``.
Source: ISO 14230-2 (header, checksum), ISO 14230-3 (services); recalled; frames from the check values, section 3.
"""
