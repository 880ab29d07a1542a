coalesce(bool_or(p.place = /*code*/), false) as /*column*/
