case when count(/*value*/) filter (part = /*code*/) > 0 then
  string_agg(coalesce(/*value*/, '?'), ' > ' order by piece) filter (part = /*code*/) end
  as /*column*/
