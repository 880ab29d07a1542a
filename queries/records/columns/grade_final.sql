case when /*pieces*/ is null and /*blank*/ and any_part and coalesce(/*any_piece*/) is null
  then '?' else /*pieces*/ end as /*result*/
