"""Physics and tables of the trade: plain functions of numbers and arrays, with nothing of the model in them.

Every public function states its equation, symbols, units, range of validity and source, with one mark:
*read* (the number was read in the source named), *value from memory*, *computed* (worked out from the
formula named) or *common practice, no source*.  Inputs are checked where they enter; a bad one raises
:class:`holdcast.physics.errors.PhysicsError`, which names the argument, its value and what is allowed.
"""
