nullif(trim(raw_sheet./*column*/), '') as /*column*/
