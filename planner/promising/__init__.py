"""The answer to an enquiry: can a customer have this, every so often, from then to then?

The enquiry is planned as one more order, after all that is promised already, and the plan that
comes of it is held against the plan in force. Nothing is changed until it is accepted.
"""

from planner.promising.accepting import accept
from planner.promising.enquiry import Answer, Enquiry, Verdict, answer
from planner.promising.words import told

__all__ = ["Answer", "Enquiry", "Verdict", "accept", "answer", "told"]
