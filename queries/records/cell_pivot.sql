string_agg(coalesce(/*value*/, '?'), ' > ' order by /*number*/) filter (/*place*/ = /*code*/)
  as /*column*/
