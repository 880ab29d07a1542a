nullif(regexp_replace(trim(raw_sheet./*column*/), '^''([=+@\t\r-])', '\1'), '') as /*column*/
