"""What theory says of simulated lives, held against the product itself: `petsim verify`.

Each check lives tiny invented pets through the public functions, as files, and compares what comes
of it with a result from outside the project, whose source it names. `verdicts` is what a check
gives, `lab` where it lives its lives, `worlds` the files, `closed_forms` exact laws; each other
module is one field of theory.
"""
