-- Question: on which jobs could none of the modes asked for have shown, since the grades of their
--   parts are known not to differ?
-- Grain: one row per job with a piece of the part asked about and no unit of any mode asked for.
-- Reads: asked_beside_units (made by the statement union_units), first_pieces.
-- Parameters: none; the slot part takes the code of the part, as text. It stands beside the rows of
--   union_beside in the temporary table asked_beside, where it is the option chosen that is asked
--   about: whether grades meet that differ follows from the grade.
-- Columns: entry; doubt (0).
select
  f.entry,
  0 as doubt
from first_pieces as f
anti join asked_beside_units as u on u.entry = f.entry
where f.part = /*part*/
